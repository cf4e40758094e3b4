"""Files for people and machines."""
