"""In what order, for which fields, on which machines: the flows that `lossmap` runs."""
