"""How the loop is seen and asked from outside: MQTT and the control socket."""
