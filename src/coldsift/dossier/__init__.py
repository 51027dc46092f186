"""One container's temperature, reconstructed: a document that a claim can be argued from.

Goes in: a :class:`~coldsift.dossier.model.Reconstruction`, which is the frames of every stage for one
container in one window of time, and sentences for what is no table. Comes out: one HTML text that needs
neither a script nor a network nor a file beside it (:func:`build_dossier`), and the same on paper
(:func:`print_pdf`, :func:`print_papers`). Rendering computes nothing about refrigeration; it chooses, words
and draws what it is given.
"""

from coldsift.dossier.model import Reconstruction
from coldsift.dossier.page import build_dossier
from coldsift.dossier.pdf import NoBrowser, print_papers, print_pdf

__all__ = ["NoBrowser", "Reconstruction", "build_dossier", "print_papers", "print_pdf"]
