"""Is a signed advisory what it seems? The file, the case inside it, and the record, together.

``archive.verify_apart`` says what the file itself shows. Here the attached case is rendered
again and set against the file, and the archive is asked whether it knows the file.
"""

import datetime as dt
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path

from loambrief import __version__
from loambrief.archive.canonical import sha256
from loambrief.archive.facts import Anchors, FactState, FileFact, Inspection, bottom_line
from loambrief.archive.store import Store, StoredFile
from loambrief.archive.verify_apart import ReadLimits, inspect_apart
from loambrief.errors import LoambriefError
from loambrief.report.blocks import DocumentStatus

EVERYDAY = ReadLimits()


class TrustedRecord:
    """An archive's log, followed from its first line once, and what it says of a file.

    Parameters
    ----------
    store : Store
        Open.
    """

    def __init__(self, store: Store):
        lines, fault = store.lines()
        if fault is None or fault.kind == "unfinished":
            fault = store.fault
        self.fault = "" if fault is None else str(fault)
        self._store, self._lines = store, {line.seq: line for line in lines}

    def find(self, digest: str) -> StoredFile | None:
        """The event that brought a file, if the chained line and its card say so themselves.

        The index alone is not believed: it is only a way to the line.
        """
        entry = self._store.find_digest(digest)
        line = None if entry is None else self._lines.get(entry.seq)
        if entry is None or line is None or line.digest != entry.line_digest:
            return None
        card = self._store.card(line.card) or {}
        return entry if any(f.get("sha256") == digest for f in card.get("files", ())) else None


@dataclass(frozen=True)
class Verification:
    """Outcome of a verification."""

    name: str
    """As the user named the file."""
    sha256: str
    inspection: Inspection
    """With every fact."""
    state: FactState
    sentence: str
    """The bottom line."""

    @property
    def good(self) -> bool:
        return self.state is FactState.GOOD

    def as_json(self) -> dict:
        found = self.inspection
        return {
            "file": self.name, "sha256": self.sha256, "good": self.good,
            "state": self.state.value, "sentence": self.sentence,
            "facts": [asdict(fact) for fact in found.facts],
            "signatures": [vars(s) for s in found.signatures],
            "advisory": found.stated, "attached": sorted(found.attached),
        }


def verify(data: bytes, name: str, *, now: dt.datetime,
           anchors: Anchors = (),
           record: TrustedRecord | None = None, again: bool = True,
           limits: ReadLimits = EVERYDAY,
           beside: Callable[[str], bytes | None] = lambda name: None) -> Verification:
    """Check one file.

    Parameters
    ----------
    now : datetime
        With time zone.
    anchors : mapping of str to sequence of bytes, or sequence of bytes
        Trusted certificates, DER, by role; a plain sequence is trusted in each.
    record : TrustedRecord or None
        The archive's, if there is one to ask.
    again : bool
        Render the attached case again (about 2 s).
    limits : ReadLimits
        Of the process that reads the file.
    beside : callable
        Content of a file of that name that came with this one, or None.
    """
    found = inspect_apart(data, anchors, now=now, limits=limits)
    facts = list(found.facts)
    if found.state("readable") is FactState.GOOD:
        facts.append(_again(found, data) if again else FileFact(
            "again", FactState.UNKNOWN, "The attached case was not rendered again."))
        facts.append(_record(found, data, record))
        facts.append(_annex(found, beside))
    state, sentence = bottom_line(facts)
    return Verification(name, sha256(data), replace(found, facts=tuple(facts)), state, sentence)


def annexes(verdicts: Sequence[Verification]) -> list[Verification]:
    """The same, an annex that a good advisory among them names as good as that.

    An annex holds no case and no signature: what vouches for it is the advisory.
    """
    named = {v.inspection.stated["annex"]["sha256"]: v.name for v in verdicts
             if v.good and v.inspection.stated.get("annex")}
    return [replace(v, state=FactState.GOOD, sentence=f"Good: the annex that {named[v.sha256]} "
                    "names.") if v.sha256 in named else v for v in verdicts]


def _annex(found: Inspection, beside: Callable[[str], bytes | None]) -> FileFact:
    """Whether the annex that the advisory names is there, and unaltered."""
    fact = partial(FileFact, "annex")
    stated = found.stated.get("annex")
    if stated is None:
        return fact(FactState.NONE, "The file names no annex of its own.")
    try:
        name, wanted = str(stated["file"]), str(stated["sha256"])
    except (KeyError, TypeError):
        return fact(FactState.BAD, "What the file says of its annex cannot be read.")
    if not name or "/" in name or "\\" in name or not name.isprintable():
        return fact(FactState.BAD, "The file names an annex in another folder.")
    content = beside(name)
    if content is None:
        return fact(FactState.UNKNOWN, f"The annex {name} is missing: it is not beside the file.")
    if sha256(content) != wanted:
        return fact(FactState.BAD, f"The annex {name} was altered, or is another one: its digest "
                    "is not the one that the file names.")
    return fact(FactState.GOOD, f"The annex {name} is the one that the file names.")


def _again(found: Inspection, data: bytes) -> FileFact:
    """Whether this program makes the same advisory from the attached case."""
    fact = partial(FileFact, "again")
    bad = [f for f in found.facts if f.state is FactState.BAD]
    if bad or found.state("data") is not FactState.GOOD:
        return fact(FactState.UNKNOWN, "The attached case was not rendered again, since the file "
                    "is not good as it is.")
    differ = _other_program(found.stated)
    try:
        pdf, made = render_again(found)
    except (LoambriefError, OSError, ValueError, KeyError, TypeError) as error:
        text = " ".join(str(error).split())[:160].rstrip(".")
        if differ:
            return fact(FactState.UNKNOWN, f"The attached case cannot be rendered by this program, "
                        f"which is another one ({differ}): {text}.")
        return fact(FactState.BAD, f"The attached case cannot be rendered: {text}.")
    if len(pdf) in found.ends and data.startswith(pdf):
        return fact(FactState.GOOD, "The attached case gives the same advisory, byte for byte.")
    same = made == found.attached[found.stated["file"]]
    kept = ("the advice is the same, but the pages differ" if same else "the advice differs")
    if differ:
        told = "the advice is the same" if same else "the advice differs"
        return fact(FactState.UNKNOWN, f"The file was made with another program ({differ}); "
                    f"rendered again with this one, {told}.")
    return fact(FactState.BAD, f"The attached case does not give this advisory: {kept}.")


def _other_program(stated: dict) -> str:
    """How the program that made a file differs from this one; empty if it does not."""
    from loambrief import pipeline

    if stated.get("loambrief_version") != __version__:
        return f"version {stated.get('loambrief_version')}, here {__version__}"
    if stated.get("tables_sha256") != pipeline.tables_digest():
        return "other tables"
    theirs, ours = dict(stated.get("made_with") or {}), dict(pipeline.made_with())
    names = sorted(k for k in theirs.keys() | ours.keys() if theirs.get(k) != ours.get(k))
    if not names:
        return ""
    name = names[0]
    if name in ("templates", "own_words"):
        return "other wording"
    return f"{name} {theirs.get(name)}, here {ours.get(name)}"


def render_again(found: Inspection) -> tuple[bytes, bytes]:
    """PDF and data made from the attached case.

    Raises
    ------
    LoambriefError
        The case has problems here.
    ValueError
        An attached file's name leads out of the folder.
    """
    from loambrief import pipeline
    from loambrief.case.load import load_case
    from loambrief.report.changes_part import RevisionChanges

    stated, printed = found.stated, found.stated.get("printed") or {}
    with tempfile.TemporaryDirectory(prefix="loambrief-") as top:
        home = Path(top).resolve() / "case"
        home.mkdir()
        (home / "case.yaml").write_bytes(found.attached["case.yaml"])
        for name, content in found.attached.items():
            if name not in ("case.yaml", stated["file"]):
                target = (home / found.described[name]).resolve()
                if not target.is_relative_to(home.parent) or target.exists():
                    raise ValueError(f"attached file {name!r} leads out of the case")
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(content)
        changes, day = stated.get("changes"), stated.get("issued")
        annex = (stated.get("annex") or {}).get("file", "")
        chosen = {key: printed[key] for key in ("units", "paper", "language") if key in printed}
        advice = pipeline.advise(load_case(home / "case.yaml", **chosen))
        made = pipeline.render(advice, status=DocumentStatus(stated["status"]),
                               number=stated.get("number"), revision=stated.get("revision"),
                               changes=RevisionChanges.from_json(changes) if changes else None,
                               issued=dt.date.fromisoformat(day) if day else None,
                               files=pipeline.Files.TWO if annex else pipeline.Files.ONE,
                               stem=str(annex).removesuffix(pipeline.ANNEX))
    return made.pdf, made.data


def _record(found: Inspection, data: bytes, record: TrustedRecord | None) -> FileFact:
    """Whether the archive's log knows the file, signed or as it was issued."""
    fact = partial(FileFact, "record")
    if record is None:
        return fact(FactState.NONE, "No archive was asked.")
    if record.fault:
        return fact(FactState.BAD, f"The archive's log does not hold: {record.fault}.")
    known = (record.find(sha256(data[:end])) for end in (len(data), *reversed(found.ends)))
    entry = next((e for e in known if e is not None and e.number is not None), None)
    number, revision = found.stated.get("number"), found.stated.get("revision")
    if entry is None:
        return fact(FactState.BAD, "The archive does not know this advisory.")
    if (entry.number, entry.revision) != (number, revision):
        return fact(FactState.BAD, f"The archive has it as {entry.number} revision "
                    f"{entry.revision}, the file says {number} revision {revision}.")
    if entry.status and entry.status != "issued":
        return fact(FactState.BAD, f"The archive has it as {entry.number} revision "
                    f"{entry.revision}, which is {entry.status}.")
    return fact(FactState.GOOD, f"The archive has it as {entry.number} revision "
                f"{entry.revision}, entered on {entry.time[:10]} (line {entry.seq} of the log).")
