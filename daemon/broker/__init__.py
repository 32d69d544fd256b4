"""A broker for this box: what mosquitto needs to know, its files, and the proof that they do what they should."""
