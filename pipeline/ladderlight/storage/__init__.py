"""Files on disk: the output folder, what is in it and whose it is, and single files that a command writes."""
