"""Ready-made texts for contacts that many panels have and no means of its own tells.

Common practice, no source. A plan names one by `preset`, and may still give text and priority.
"""

from dataclasses import dataclass
from enum import StrEnum

from relayd.core.plan import Priority


class Preset(StrEnum):
    """What a contact of means `other` may be."""

    BACKUP_CONTROL = "backup-control"
    DRY_WELL_FLOOD = "dry-well-flood"
    TEMPERATURE_LOW = "temperature-low"
    GENERATOR_FAULT = "generator-fault"


@dataclass(frozen=True, slots=True)
class Said:
    """What such a contact says, and how urgent it is."""

    text: str
    priority: Priority


PRESETS = {
    Preset.BACKUP_CONTROL: Said(
        "The level sensor has failed and the panel runs on its backup floats", Priority.MEDIUM
    ),
    Preset.DRY_WELL_FLOOD: Said("Water in the dry well", Priority.HIGH),
    Preset.TEMPERATURE_LOW: Said("It is close to freezing there", Priority.MEDIUM),
    Preset.GENERATOR_FAULT: Said("The generator reports a fault", Priority.MEDIUM),
}
