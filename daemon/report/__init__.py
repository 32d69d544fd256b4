"""A report of one batch or a season: gathered from what was kept, as a page, a table, or lines."""
