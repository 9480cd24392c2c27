"""Reshaping: what a sheet wants done to the true copy before it is printed."""

from verifier.correcting.reshaping.pieces import Piece, Pieces
from verifier.correcting.reshaping.reshape import Reshaped, Reshaping, reshape

__all__ = ["Piece", "Pieces", "Reshaped", "Reshaping", "reshape"]
