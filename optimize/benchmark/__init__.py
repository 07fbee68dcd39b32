"""What the product takes, and what the usual ways take beside it, in one run; timings live here, never in a test."""
