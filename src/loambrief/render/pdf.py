"""Report model to PDF bytes: compose, lay out, tag, make it an archive file."""

from loambrief.render.compose import Composer
from loambrief.render.flow import flow
from loambrief.render.page import build_pages, document_number
from loambrief.render.pdfa import archive_file
from loambrief.render.styles import look
from loambrief.render.tags import Element, TaggedCanvas
from loambrief.report.blocks import DocumentStatus, ReportModel
from loambrief.report.parts import Summary
from loambrief.resources import uncollected


def render_pdf(model: ReportModel, *, checked: bool | None = None) -> bytes:
    """The document as a PDF: tagged (PDF/UA-1), for archiving (PDF/A-3a), always the same bytes.

    Parameters
    ----------
    checked : bool, optional
        Check the file against PDF/A-3b before handing it over (0.02 s a page). Left out:
        documents that are issued are checked, drafts are not.

    Raises
    ------
    RenderFault
        A link to nowhere, an anchor used twice, a skipped heading level, a figure without a
        text alternative, or the finished file fails the archive check.
    ResourceMissing
        A font or the theme is not there.
    """
    if checked is None:
        checked = model.status is not DocumentStatus.DRAFT
    with uncollected():
        return archive_file(paginated(model), model, document_number(model), checked=checked)


def paginated(model: ReportModel) -> TaggedCanvas:
    """The pages of a document, not yet a file; raises as :func:`render_pdf`."""
    page = look(model.paper, model.scale, accent=model.accent)
    root = Element("Document")
    covered = bool(model.blocks) and not isinstance(model.blocks[0], Summary)
    composer = Composer(page, model.words, root, 2 if covered else 1, model.elsewhere)
    flowables = flow(composer, model.blocks)
    composer.check_links()
    return build_pages(model, page, root, flowables)
