"""3MF (core specification, open): a mesh in mm with a title, what it is and the cautions, in a ZIP package.

trimesh was weighed: the bytes of its 3MF differ from run to run. The format's reference library reads these in a test.
"""

from __future__ import annotations

import io
import zipfile
from xml.sax.saxutils import escape

from ...seal import BLANK, __version__, seal
from ..numbers import plain_number
from .mesh import Mesh

_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
_TYPES = (
    f'{_XML}<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
_RELATIONS = (
    f'{_XML}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)


def threemf_bytes(mesh: Mesh, *, title: str, description: str) -> bytes:
    """Return a mesh as 3MF; stored uncompressed and without a clock, so that the same mesh gives the same bytes."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as package:
        for name, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _RELATIONS),
            ("3D/3dmodel.model", _model(mesh, title, description)),
        ):
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            package.writestr(entry, text.encode())
    return seal(stream.getvalue())


def _model(mesh: Mesh, title: str, description: str) -> str:
    corners = "\n".join(f'<vertex x="{_n(x)}" y="{_n(y)}" z="{_n(z)}"/>' for x, y, z in mesh.corners_mm.tolist())
    triangles = "\n".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.triangles.tolist())
    title, description = (escape(_printable(words)) for words in (title, description))
    return (
        f'{_XML}<model unit="millimeter" xml:lang="en" xmlns="{_CORE}">\n'
        f'<metadata name="Title">{title}</metadata>\n'
        f'<metadata name="Description">{description}</metadata>\n'
        f'<metadata name="Application">digitize {__version__} {BLANK}</metadata>\n'
        f'<resources><object id="1" type="model"><mesh>\n<vertices>\n{corners}\n</vertices>\n'
        f"<triangles>\n{triangles}\n</triangles>\n</mesh></object></resources>\n"
        '<build><item objectid="1"/></build>\n</model>\n'
    )


def _printable(text: str) -> str:
    """Text without the control characters that XML 1.0 (2.2) leaves out; readers refuse a file that holds one."""
    return "".join(c if c in "\n\t" or (c >= " " and c not in "\ufffe\uffff") else " " for c in text)


def _n(value: float) -> str:
    return plain_number(value, 4)
