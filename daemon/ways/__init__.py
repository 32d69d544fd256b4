"""Ways out besides MQTT: alerts by the services of the grower's choice."""
