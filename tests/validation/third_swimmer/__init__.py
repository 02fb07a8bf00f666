"""A third synthetic swimmer, with exact truth, that shares nothing with the others or the analysis.

Events come first: the moments and places of every stroke, kick and breath are drawn, smooth curves
run through them at 1 kHz, and the truth is measured from the geometry by the file contract.
"""

from .session import swim

__all__ = ["swim"]
