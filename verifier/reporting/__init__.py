"""Inspection -> terminal, JSON, page and mesh files, each made from that one value and nothing else."""

__all__ = ["as_json", "mesh_files", "page", "shown", "terminal"]
