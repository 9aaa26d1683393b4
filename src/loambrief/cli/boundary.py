"""`loambrief boundary`: a field's outline and zones from another program's file."""

from pathlib import Path

import click

from loambrief.cli.shared import PATH, must_be_new, quoted, show_json, write_new


@click.command()
@click.argument("file", type=PATH)
@click.option("-o", "--output", type=PATH, required=True,
              help="File for the boundary (.geojson); must be new.")
@click.option("--attribute", default="sample", show_default=True, metavar="NAME",
              help="Attribute that holds the id of a zone's sample.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
def boundary(file: Path, output: Path, attribute: str, as_json: bool) -> None:
    """Make a boundary for a case from KML or a shapefile (.shp, or packed as .zip).

    Each area with the attribute is the zone of that sample, one without it is the field. The
    coordinates must be longitude and latitude of WGS 84.

    \b
    Examples:
      loambrief boundary east40.kml -o cases/east40.geojson
      loambrief boundary zones.zip -o cases/zones.geojson --attribute ZONE
    """
    from loambrief.case.boundary import boundary_faults, shapes
    from loambrief.case.boundary_read import as_geojson, boundary_from
    from loambrief.errors import CaseProblems

    if output.suffix.lower() != ".geojson":
        raise click.UsageError(f"{output}: a boundary ends in .geojson")
    must_be_new(output)
    made = boundary_from(file, attribute)
    ids = {str(one["properties"]["sample"]) for one in made["features"]
           if "sample" in one["properties"]}
    faults = list(boundary_faults(made, sorted(ids)))
    if faults:
        from loambrief.case.source import Mark, problem_at

        raise CaseProblems(tuple(problem_at(
            str(file), [], Mark(1, 1), fault, ".".join(map(str, fault.path[1:])))
            for fault in faults))
    write_new(output, as_geojson(made))
    areas = [(shape.sample or "", round(shape.area_ac, 2)) for shape in shapes(made)]
    if as_json:
        show_json({"file": str(output), "areas_ac": [{"sample": s, "area": a} for s, a in areas]},
                  indent=None)
        return
    for sample, area in areas:
        click.echo(f"{f'sample {sample}' if sample else 'field'}: {area} ac")
    click.echo(f"wrote {output}; in the case: boundary: {{file: {quoted(Path(output.name))}}}")
