"""Who is wrong where a check fails: one posterior over hypotheses, each solved anew."""
