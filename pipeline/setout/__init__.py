"""setout: from survey files of a property to a planting that can be staked, piped and grown."""

__version__ = "0.1.0"
