"""The command: arguments, talk and progress, and nothing else."""

from setout.cli.command import main

__all__ = ["main"]
