"""What a forage test says about danger to stock: nitrate, sugar for horses, soil in the hay."""

from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Forage
from loambrief.findings import model as m
from loambrief.findings.crop_kinds import kept_stock
from loambrief.findings.model import say
from loambrief.tables import load
from loambrief.topics.forage.formulas import coefficient
from loambrief.topics.forage.formulas_grades import external_ash_pct
from loambrief.topics.forage.formulas_safety import forage_nitrate_class, horse_sugar_caution
from loambrief.units import Quantity, plain

TABLE, SECOND_TABLE = "clemson", "oklahoma_state"
RUMINANTS = ("cattle", "dairy", "sheep", "goats")
SEVERITY = (0, 1, 1, 2, 2, 3)
"""By the class of the table used: safe, two mild limits, two strong ones, do not feed."""
CLOSE = 1.0
"""Percentage units under a limit that a second test could well overstep (our choice)."""


def nitrate_finding(case: CaseFile, test: Forage, lot: m.Place, sure: m.Confidence
                    ) -> m.Finding | None:
    """Nitrate in both usual forms, its class by a named table, and what to do."""
    nitrate = test.nitrate
    if nitrate is None or nitrate.unit != "ppm":
        return None
    if test.nitrate_as is None:
        return _unknown_form(lot, test.id, nitrate)
    with subject(lot):
        judged = forage_nitrate_class.evaluate(value_ppm=nitrate.value, form=test.nitrate_as,
                                               table=TABLE)
        second = forage_nitrate_class.evaluate(value_ppm=nitrate.value, form=test.nitrate_as,
                                               table=SECOND_TABLE)
    details = judged.details
    step = int(details["step"])
    severity = SEVERITY[step]
    status = m.Status.EXCESS if severity else m.Status.ADEQUATE
    if nitrate.censor == ">" and step < int(details["steps"]) - 1:
        status = m.Status.UNCERTAIN
    if nitrate.censor == "<" and step > 0:
        status, severity = m.Status.UNCERTAIN, min(severity, 1)
    forms = {key: details[f"{key}_ppm"] for key in ("no3_n", "no3", "kno3")}
    evidence = [
        m.stated("forage.for_nitrate", judged, typed=nitrate.typed, form=test.nitrate_as, **forms),
        _second_opinion(second, step),
        m.stated("forage.context_nitrate", low=coefficient("nitrate_concern_low"),
                 high=coefficient("nitrate_concern_high")),
    ]
    body: list[m.Message] = [say("forage.body_nitrate", ration=details["ration_pct"],
                                 pregnant=details["pregnant_pct"], step=step)]
    if nitrate.censor:
        body.append(say("forage.body_nitrate_limit", below=nitrate.censor == "<"))
    return m.Finding(
        id=f"forage.nitrate.{test.id}",
        title=say("forage.title_nitrate", name=lot, judged=judged.value, step=step,
                  censor=nitrate.censor, **forms),
        status=status,
        severity=severity,
        confidence=sure,
        grade=m.Grade.MEASURED,
        value=float(forms["no3_n"]),
        unit="ppm",
        reference=_nitrate_reference(),
        place=lot,
        body=tuple(body),
        evidence=tuple(evidence),
        needs=_nitrate_needs(case, lot, judged, severity),
        sources=(judged.source, second.source),
        results=(judged, second),
    )


def _nitrate_reference() -> m.Message:
    """Where the table used begins to set limits and where it forbids feeding."""
    rows = load("forage/nitrate_classes").where(table=TABLE)
    return say("forage.reference_nitrate", safe=rows[0]["high_ppm"], stop=rows[-1]["low_ppm"])


def _second_opinion(second: Result, first_step: int) -> m.Evidence:
    stricter = int(second.details["step"]) > 0 and first_step == 0
    return m.on_side(m.Side.AGAINST if stricter else m.Side.CONTEXT, "forage.evidence_second_table",
                     second, judged=second.value, stricter=stricter, memory=second.how == "memory")


def _nitrate_needs(case: CaseFile, lot: m.Place, judged: Result, severity: int
                   ) -> tuple[m.Need, ...]:
    if not severity:
        return ()
    stock = [s for s in kept_stock(case) if s in RUMINANTS]
    cautions = (
        say("forage.caution_pregnant", none=judged.details["pregnant_pct"] == 0,
            share=judged.details["pregnant_pct"]),
        say("forage.caution_nitrate"),
        say("forage.caution_vet"),
    )
    return (m.Need(m.NeedKind.MANAGE, "nitrate", "",
                   say("forage.need_nitrate", name=lot, ration=judged.details["ration_pct"],
                       stock=stock),
                   place=lot, sources=(judged.source,), results=(judged,), cautions=cautions),)


def _unknown_form(lot: m.Place, test_id: str, nitrate: Quantity) -> m.Finding:
    """A number without its form may be harmless or deadly: both readings are shown."""
    with subject(lot):
        worst = forage_nitrate_class.evaluate(value_ppm=nitrate.value, form="no3-n", table=TABLE)
        mildest = forage_nitrate_class.evaluate(value_ppm=nitrate.value, form="kno3", table=TABLE)
    severity = min(SEVERITY[int(worst.details["step"])], 2)
    return m.Finding(
        id=f"forage.nitrate.{test_id}",
        title=say("forage.title_nitrate_form", name=lot, typed=nitrate.typed),
        status=m.Status.UNCERTAIN,
        severity=severity,
        confidence=m.Confidence.LOW,
        grade=m.Grade.MEASURED,
        value=None,
        reference=_nitrate_reference(),
        place=lot,
        body=(say("forage.body_nitrate_form", worst=worst.value, mildest=mildest.value),),
        needs=(m.Need(m.NeedKind.MEASURE, "nitrate-form", "",
                      say("forage.need_nitrate_form", name=lot), place=lot,
                      cautions=(say("forage.caution_nitrate_form"), say("forage.caution_vet"))),),
        sources=(worst.source, "anderson-unl-nitrate"),
        results=(worst, mildest),
    )


def sugar_finding(case: CaseFile, test: Forage, lot: m.Place, sure: m.Confidence
                  ) -> m.Finding | None:
    """Nonstructural carbohydrate against the limits for horses that cannot stand sugar."""
    nsc = plain(test.nsc)
    if nsc is None:
        return None
    horses = "horses" in kept_stock(case)
    with subject(lot):
        judged = horse_sugar_caution.evaluate(nsc_pct=nsc)
    over = judged.value != "below both limits"
    both = judged.value == "over both limits"
    severity = (2 if both else 1) if over and horses else 0
    limits = {"laminitis": float(judged.details["laminitis_limit_pct"]),
              "insulin": float(judged.details["insulin_limit_pct"])}
    needs: tuple[m.Need, ...] = ()
    if severity:
        needs = (m.Need(m.NeedKind.MANAGE, "horse-sugar", "",
                        say("forage.need_sugar", name=lot), place=lot, sources=(judged.source,),
                        results=(judged,),
                        cautions=(say("forage.caution_horse"), say("forage.caution_vet"))),)
    return m.Finding(
        id=f"forage.sugar.{test.id}",
        title=say("forage.title_sugar", name=lot, nsc=nsc, over=over, both=both, **limits),
        status=m.Status.WATCH if severity else m.Status.NOTED,
        severity=severity,
        confidence=sure,
        grade=m.Grade.MEASURED,
        value=nsc,
        unit="%",
        reference=say("forage.reference_sugar", **limits),
        place=lot,
        body=(say("forage.body_sugar", horses=horses,
                  near=any(0 < limit - nsc < CLOSE for limit in limits.values())),),
        evidence=(
            m.stated("forage.for_sugar", judged, nsc=nsc, **limits),
            m.stated("forage.context_afternoon"),
        ),
        needs=needs,
        sources=(judged.source, "harris-2011-laminitis"),
        results=(judged,),
    )


def ash_finding(test: Forage, lot: m.Place, sure: m.Confidence) -> m.Finding | None:
    """Ash beyond the plant's own: soil in the hay."""
    ash = plain(test.ash)
    if ash is None:
        return None
    with subject(lot):
        external = external_ash_pct.evaluate(kind=test.kind, ash_pct=ash)
    over = bool(external.details["over_goal"])
    return m.Finding(
        id=f"forage.ash.{test.id}",
        title=say("forage.title_ash", name=lot, ash=ash, external=external.value, over=over),
        status=m.Status.WATCH if over else m.Status.ADEQUATE,
        severity=1 if over else 0,
        confidence=sure,
        grade=m.Grade.CALCULATED,
        value=float(external.value),
        unit="%",
        reference=say("forage.reference_ash", internal=external.details["internal_pct"],
                      goal=coefficient("external_ash_goal"), grass=test.kind == "grass"),
        place=lot,
        body=(say("forage.body_ash", lost=external.details["tdn_lost_pct"], over=over),),
        evidence=(
            m.stated("forage.for_ash", external, ash=ash,
                     internal=external.details["internal_pct"]),
            m.stated("forage.context_ash"),
        ),
        needs=(m.Need(m.NeedKind.MANAGE, "ash", "", say("forage.need_ash", name=lot), place=lot,
                      sources=("undersander-ash",)),) if over else (),
        sources=(external.source, "osu-wayne-2017-ash"),
        results=(external,),
    )
