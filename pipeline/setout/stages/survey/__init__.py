"""Survey: from what was read to a site in one working frame."""

from setout.stages.survey.frame import frame_of
from setout.stages.survey.site import site_of

__all__ = ["frame_of", "site_of"]
