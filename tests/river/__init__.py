"""Series of real probes in a river, with a technician's labels, replayed through the judge."""
