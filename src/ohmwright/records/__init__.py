"""Records: the events of a run, kept."""
