"""An invented smokehouse and a week of its work, made through the entries in order of time."""
