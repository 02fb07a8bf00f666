"""From event tables to the figures of each length, cycle and session."""
