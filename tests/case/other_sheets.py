"""Bytes of an old workbook and of an open document: a cover sheet and one of results."""

import base64
import io
import zipfile
import zlib
from xml.sax.saxutils import escape

_XLS = (
    'c-rk)O=uHQ5dPj~H%&s5Cbbn>p@f1}YXz$)9;~tcRTN9D2Y(PWwF{P}$+C@t9<*9>5<&2!cq#ParRv2W^q@BnLPZY+'
    'L1^^oNl@_6W}P>?8&l1p0S!j>Ti(2xdGqG|&)eNMv$6T9hpl=1f*tUoU<KhX(FsaHSBQejElaX)9-w4-s3`;kw2*!c'
    '&%&?k<QmHL&O^Zi^(9f@Bc+ot(4R@`@hV~$_aP}{A9{pJdr!e#N)fbhzZ#jIVY-6peYSnhbSG<WFzq4Rd2s@>iT=)Q'
    '&OSb-v~yX6sK8^c^PV-`XvQnKk1yX8wylO<b0nGiHw)U-dQ5{>u1`<vW->L8CR)O2e6!-fSNE*Gh<p0#>IF#ueW|{#'
    'jQ*CQ0u!)K3%L<<2*an!5)HdE=XEoO1{~L<q7H-l__<Ved;teI2nX%MI;a~NGfT{o<d~7t$##!!WY5x8HujS+5I2l5'
    '$`8t%l)c?#x^ctS_(+<h?OQ_96NiB4k`NH)gHca(n7SbO7$1))1^I=0U)~-X8c3XC%>;*i`*K(<M*|C2WDTkuDVEr@'
    'lWVMJdX>GdV!oAW6OEekj)7)}**D2H*SNHU+S$x_msnH6uO&YB`S6pr+^57k;%EBu7n^405>sfWIU1(=@|i@J=n{8s'
    'OFT`uxp2bB2c|8*g_M92b^2~OH(&!65n?uGUz18B9!XOQIX_X2S>;Bd)$pupWoK26*p}Scu_c8hUs3Xrq!uNWB+c<G'
    '%6Jy++3(m3_AD3Wk`m&JC5G!kw@i8t6w9RNO^UP5D7VfYJb3Wn!Gi}6H3s3lO8WRU%6_5r^Y@1RUuTh0!TU|}-(nCM'
    'db0Fcx)*86O<bsG|Ez>2Twh|Db=?1j5=W_Z6Qda7evDSUf9X?0l#XZF6{COd2vypCp^|?7<@SF7Uef-U'
)


def old_workbook():
    """An .xls with the sheets Cover and Results, made once with a general library."""
    return zlib.decompress(base64.b85decode(_XLS))


def open_document(*sheets, cell='office:value-type="string"'):
    """An .ods; a sheet is (name, rows)."""
    def table(name, rows):
        body = "".join("<table:table-row>" + "".join(
            f'<table:table-cell office:value-type="float" office:value="{v}"/>'
            if isinstance(v, int | float) else
            f"<table:table-cell {cell}><text:p>{escape(v)}</text:p></table:table-cell>"
            for v in row) + "</table:table-row>" for row in rows)
        return f'<table:table table:name="{name}">{body}</table:table>'

    names = "".join(f' xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"'
                    for n in ("office", "table", "text"))
    content = (f'<?xml version="1.0" encoding="UTF-8"?><office:document-content{names}>'
               f"<office:body><office:spreadsheet>{''.join(table(*s) for s in sheets)}"
               "</office:spreadsheet></office:body></office:document-content>")
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", '<?xml version="1.0"?><manifest:manifest '
                         'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>')
    return stream.getvalue()
