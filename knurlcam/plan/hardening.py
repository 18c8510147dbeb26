"""Whether the work hardens so readily under the rolls that it is pressed in few firm steps."""

from __future__ import annotations

from knurlcam.job.model import Job
from knurlcam.mechanics.passes import hardens_readily

__all__ = ["work_hardens"]


def work_hardens(job: Job) -> bool:
    """Return whether the metal of the work hardens readily; not where its figures are unknown."""
    metal = job.part.material_row
    return hardens_readily(
        metal.yield_strength_mpa, metal.tensile_strength_mpa, metal.elongation_percent
    )
