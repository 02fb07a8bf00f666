"""Every file that comes in or goes out: session folders, logs, settings, tables, cues."""
