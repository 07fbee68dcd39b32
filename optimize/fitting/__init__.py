"""From the bench back into the model: measured rows -> corrections on the correlations, how sure, what to do next."""
