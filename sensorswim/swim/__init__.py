"""The questions asked of a swim: lengths, arm strokes, kicks, roll, breaths, coordination."""
