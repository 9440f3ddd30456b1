"""Taking on a household: one path of five steps, each saved before the next is shown."""

from stewardship.front.onboarding.views import resume, start, step

__all__ = ["resume", "start", "step"]
