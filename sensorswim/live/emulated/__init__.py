"""Emulated sensors for rehearsals and tests: what `firmware_notes/` asks of a real one."""
