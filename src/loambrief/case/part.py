"""The base of every part of a case."""

from collections.abc import Mapping

from pydantic import BaseModel, ConfigDict, model_validator


class Part(BaseModel):
    """Base of all parts of a case: frozen, strict, no unknown keys.

    A key with nothing after it counts as absent, so a blank line of a template is "not
    measured", never zero.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True,
                              defer_build=True)  # built when used: most only within a case

    @model_validator(mode="before")
    @classmethod
    def _blank_is_absent(cls, data: object) -> object:
        if not isinstance(data, Mapping):
            return data
        return {k: v for k, v in data.items() if v is not None or k not in cls.model_fields}
