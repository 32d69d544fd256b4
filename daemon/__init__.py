"""The service: measure, dose, alarm, link, and the loop that runs them."""
