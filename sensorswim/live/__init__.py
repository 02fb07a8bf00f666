"""Live at the poolside: link to the sensors, recorder, rolling analysis, emulated sensors."""
