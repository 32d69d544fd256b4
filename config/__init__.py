"""The settings: their models, and the data files that ship with the program."""
