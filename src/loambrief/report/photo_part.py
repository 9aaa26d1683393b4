"""Photos of the visit with their captions: with the topic that they show, or by themselves."""

from loambrief.case.schema import PhotoEntry
from loambrief.report.blocks import Block
from loambrief.report.context import Context
from loambrief.report.parts import PhotoPrint, Photos


def photos_of(context: Context, topic: str) -> list[Photos]:
    """Photos that show what was found in a topic, in the order of the case."""
    return _photos(context, [e for e in context.case.photos if e.shows == topic])


def photo_section(context: Context) -> list[Block]:
    """Photos of no topic, or of one without a finding; nothing without any."""
    shown = _photos(context, context.loose_photos)
    if not shown:
        return []
    return [context.annex_heading("photos", context.word("heading_photos"), "photos"), *shown]


def _photos(context: Context, wanted: list[PhotoEntry]) -> list[Photos]:
    shown = tuple(
        PhotoPrint(photo.jpeg, photo.width, photo.height,
                   context.word("photo_caption", text=entry.caption, place=entry.place,
                                date=entry.date),
                   entry.alt or entry.caption)
        for entry, photo in zip(context.case.photos, context.loaded.photos, strict=True)
        if any(entry is one for one in wanted))
    return [Photos(shown)] if shown else []
