"""Which cores are worth having: study, search, front, scatter, report, and the command line at the outer edge."""
