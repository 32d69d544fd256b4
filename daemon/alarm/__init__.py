"""What calls a person to the tank."""
