"""What weeds are said to mean, what they may cost, and where they can hurt."""

from collections.abc import Iterable, Mapping

from loambrief.agronomy.registry import Result, subject
from loambrief.case.names import crops, fold
from loambrief.case.schema import CaseFile
from loambrief.findings.confidence import grade_confidence
from loambrief.findings.crop_kinds import kept_stock
from loambrief.findings.model import Confidence, Evidence, Finding, Grade, Side, Status, say
from loambrief.findings.places import field_place
from loambrief.tables import load, parts
from loambrief.tables.harmful import harmful_row
from loambrief.tables.regions import named
from loambrief.topics.weeds.formulas_loss import weed_yield_loss
from loambrief.topics.weeds.formulas_names import press_refused
from loambrief.topics.weeds.state import Seen, one_each
from loambrief.units import plain

SIDES = {"supported": Side.FOR, "partly": Side.CONTEXT, "unsupported": Side.AGAINST,
         "contradicted": Side.AGAINST}
DISTURBING_LITTLE = ("no-till", "strip-till", "reduced")
CROP_KINDS = ("winter", "spring", "durum", "grain", "field", "silage")
SPAN = 2.0
"""The illustrative slope of a loss curve is halved and doubled: our choice."""
RISKS = ("livestock", "nitrate", "oxalate", "handling")


def _named(row: Mapping[str, object], seen: Iterable[Seen]) -> list[str]:
    """Printed names of the weeds of the case that stand in the row's species."""
    species = parts(row["species"])
    return list(dict.fromkeys(s.name for s in seen if s.accepted in species))


def claims_finding(case: CaseFile, seen: tuple[Seen, ...]) -> Finding | None:
    """The meanings in common use for the weeds of the case, each beside published evidence."""
    evidence, sources, told = [], ["practice-weed-meanings"], set()
    counts = dict.fromkeys(SIDES, 0)
    pressed = case.refractometer is not None and any(
        r.role == "weed" for r in case.refractometer.readings)
    for row in load("weeds/claims"):
        names = _named(row, seen)
        if not names and not (row["claim"] == "brix_pressure" and pressed):
            continue
        verdict, keys = str(row["verdict"]), parts(row["source"], ";")
        evidence.append(Evidence(
            SIDES[verdict],
            say("weeds.claim" if names else "weeds.claim_brix", names=names,
                meaning=row["meaning"], verdict=verdict, evidence=row["evidence"]),
            Grade.SCREENING, keys))
        sources += keys
        told.update(names)
        counts[verdict] += 1
    if not evidence:
        return None
    silent = list(dict.fromkeys(s.name for s in seen if s.name not in told))
    return Finding(
        id="weeds.claims",
        title=say("weeds.title_claims", total=len(evidence), supported=counts["supported"]),
        status=Status.NOTED, severity=0, confidence=Confidence.LOW, grade=Grade.PRACTICE,
        reference=say("weeds.reference_claims"), place=field_place(case),
        body=(*([say("weeds.body_tillage", tillage=case.field.tillage)]
                if case.field.tillage in DISTURBING_LITTLE else []),
              say("weeds.body_resistance"),
              *([say("weeds.body_silent", names=silent)] if silent else [])),
        evidence=tuple(evidence),
        sources=tuple(dict.fromkeys(
            (*sources, "wssa-1998", "ncr-468-resistance",
             *(("leon-owen-waterhemp",) if case.field.tillage in DISTURBING_LITTLE else ())))),
    )


def _typed(seen: Seen) -> tuple[str, ...]:
    """Names to judge a weed by: the accepted one, else all that were typed."""
    typed = (seen.weed.species, seen.weed.eppo, seen.weed.local_name)
    return (seen.accepted,) if seen.accepted else tuple(name for name in typed if name)


def _genus_named(row: Mapping[str, object], seen: Iterable[Seen]) -> list[str]:
    """Printed names of weeds without an accepted name whose harmful genus is in the row."""
    genera = {name.split()[0] for name in parts(row["species"])}
    return [s.name for s in seen if s.accepted is None
            and any(found["genus"] in genera for name in _typed(s)
                    if (found := harmful_row(name)) is not None)]


def hazards(seen: tuple[Seen, ...]) -> list[tuple[str, str, list[str], tuple[str, ...]]]:
    """(kind, text, names, sources) that concern the case; equal harms are put together."""
    found: dict[tuple[str, str], tuple[list[str], list[str]]] = {}
    for row in load("weeds/hazards"):
        names = _named(row, seen) + _genus_named(row, seen)
        if names:
            into = found.setdefault((str(row["kind"]), str(row["text"])), ([], []))
            into[0].extend(names)
            into[1].extend(parts(row["source"], ";"))
    return [(kind, text, list(dict.fromkeys(names)), tuple(dict.fromkeys(keys)))
            for (kind, text), (names, keys) in found.items()]


def _named_by_law(case: CaseFile, seen: tuple[Seen, ...]) -> list[Mapping[str, object]]:
    """Rows of the laws that are held, for weeds and places of the case; no list is whole."""
    rows = [row for row in load("weeds/noxious")
            if any(s.accepted == row["species"] for s in seen)]
    here = named((case.farm.region, case.farm.country, case.case.jurisdiction),
                 [str(row["region"]) for row in rows])
    return [row for row in rows if row["region"] in here]


def safety_finding(case: CaseFile, seen: tuple[Seen, ...]) -> Finding:
    """Cautions for stock and people, look-alikes, and the law in general words."""
    evidence, sources = [], ["cornell-nrcca-ca0539", "noxious-weed-law"]
    harmful: dict[str, None] = {}
    kinds: set[str] = set()
    found = hazards(seen)
    for kind, text, names, keys in found:
        if kind in RISKS:
            evidence.append(Evidence(Side.CONTEXT,
                                     say(f"weeds.hazard_{kind}", names=names, text=text),
                                     Grade.OBSERVED, keys))
        sources += keys
        kinds.add(kind)
        if kind in RISKS:
            harmful.update(dict.fromkeys(names))
    alike = [hazard for hazard in found if hazard[0] == "look_alike"]
    if alike:
        evidence.append(Evidence(
            Side.CONTEXT,
            say("weeds.hazard_look_alike",
                groups=[{"names": names, "text": text} for _, text, names, _ in alike]),
            Grade.OBSERVED, tuple(dict.fromkeys(key for *_, keys in alike for key in keys))))
    refused = list(dict.fromkeys(s.name for s in one_each(seen)
                                 if any(press_refused(name) for name in _typed(s))))
    if refused:
        sources.append("burrows-tyrl-2013")
    body = []
    if refused:
        body.append(say("weeds.body_press", names=refused))
    if kinds & {"livestock", "nitrate", "oxalate"}:
        body.append(say("weeds.body_stock", kept=bool(kept_stock(case) or case.forage)))
    if kinds & {"nitrate", "oxalate"}:
        body.append(say("weeds.body_nitrate"))
    if "handling" in kinds:
        body.append(say("weeds.body_handling"))
    body += [say("weeds.body_incomplete"), say("weeds.body_noxious"),
             *(say("weeds.body_named_by_law", region=row["region"], memory=row["how"] == "memory",
                   weed=next(s.name for s in seen if s.accepted == row["species"]))
               for row in _named_by_law(case, seen)), say("weeds.body_label")]
    sources += [str(row["source"]) for row in _named_by_law(case, seen)]
    sure = all(s.weed.identification == "certain" for s in seen if s.name in harmful)
    return Finding(
        id="weeds.safety",
        title=say("weeds.title_safety", names=list(harmful)),
        status=Status.WATCH if harmful else Status.NOTED, severity=1 if harmful else 0,
        confidence=grade_confidence(method_matches=False, agrees=sure), grade=Grade.OBSERVED,
        reference=say("weeds.reference_safety"), place=field_place(case),
        body=tuple(body), evidence=tuple(evidence), sources=tuple(dict.fromkeys(sources)),
    )


def _crop_matches(crop: str, wanted: str) -> bool:
    row = crops().get(fold(crop))
    if row is not None and row["crop"] == wanted:
        return True
    words = crop.casefold().replace(",", " ").split()
    return wanted in words and all(w == wanted or w in CROP_KINDS for w in words)


def competition_finding(case: CaseFile, seen: tuple[Seen, ...]) -> Finding | None:
    """Illustrations of yield loss for the weeds of the case; never a forecast."""
    evidence: list[Evidence] = []
    sources: list[str] = []
    for row in load("weeds/competition"):
        names = _named(row, seen)
        if not names or not _crop_matches(case.field.crop, str(row["crop"])):
            continue
        evidence.append(Evidence(
            Side.CONTEXT, say("weeds.context_loss", weed=names[0], crop=row["crop"],
                              statement=row["statement"], memory=row["how"] == "memory"),
            Grade.SCREENING, (str(row["source"]),)))
        sources.append(str(row["source"]))
        evidence += _counted(row, seen)
    if not evidence:
        return None
    results = tuple(r for e in evidence for r in e.results)
    return Finding(
        id="weeds.competition",
        title=say("weeds.title_competition"),
        status=Status.NOTED, severity=0, confidence=Confidence.LOW, grade=Grade.SCREENING,
        reference=say("weeds.reference_competition"),
        place=field_place(case),
        evidence=tuple(evidence),
        sources=tuple(dict.fromkeys((*sources, "lindquist-1996"))),
        results=results,
    )


def _counted(row: Mapping[str, object], seen: Iterable[Seen]) -> list[Evidence]:
    """The illustrative curve at the densities that were counted in the field."""
    if row["max_loss_pct"] is None:
        return []
    loss, ceiling = float(row["loss_pct"]), float(row["max_loss_pct"])  # type: ignore[arg-type]
    slope = loss / (float(row["density"]) * (1 - loss / ceiling))  # type: ignore[arg-type]
    found = []
    for item in seen:
        density = plain(item.weed.density)
        if item.accepted not in parts(row["species"]) or density is None:
            continue
        results: list[Result] = []
        with subject(item.name, str(row["crop"]), "illustration"):
            for factor in (1 / SPAN, SPAN):
                results.append(weed_yield_loss.evaluate(density=density, i=slope * factor,
                                                        a=ceiling))
        found.append(Evidence(
            Side.CONTEXT, say("weeds.context_counted", weed=item.name, density=density,
                              low=results[0].value, high=results[1].value),
            Grade.SCREENING, ("cousens-1985", str(row["source"])), tuple(results)))
    return found
