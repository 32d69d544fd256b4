"""The crop: what was done with it, what it asks for, what is to be done, and what became of it."""
