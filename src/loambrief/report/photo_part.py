"""Photos of the visit with their captions."""

from __future__ import annotations

from loambrief.report.blocks import Block
from loambrief.report.context import Context
from loambrief.report.parts import PhotoPrint, Photos


def photo_section(context: Context) -> list[Block]:
    """Photos in the order of the case; nothing without photos."""
    entries = context.case.photos
    if not entries:
        return []
    shown = tuple(
        PhotoPrint(photo.jpeg, photo.width, photo.height,
                   context.word("photo_caption", text=entry.caption, place=entry.place,
                                date=entry.date),
                   entry.alt or entry.caption)
        for entry, photo in zip(entries, context.loaded.photos, strict=True))
    return [context.annex_heading("photos", context.word("heading_photos"), "photos"),
            Photos(shown)]
