"""Whether a file is the owner's own: charts, routes, pictures, logs, as open formats have them.

A card that an owner hands over may hold the only copy of these. So what a file
turned out to be is asked first, and where that says nothing, its name: content
that is broken, could not be read, or is packed still counts by a name of an
open standard. A maker's own formats and endings are not known here.

Every answer is about a file by itself. That an image of the shop, known by its
digest, is nobody else's is for the caller to see to before it asks.

Sources of the names: IHO S-57 edition 3.1, appendix B.1, section 5 (CATALOG.031,
ENC_ROOT); IHO S-63 edition 1.2 (PERMIT.TXT, SERIAL.ENC); IHO S-100 edition 5,
part 17 (S100_ROOT); JEITA CP-3461 (DCIM); RFC 7946; MBTiles 1.3; OGC GeoPackage 1.3
and KML 2.3. Other endings, and BSB_ROOT: common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from cardprep.inspection.model import InspectedFile
from cardprep.rules.names import ending, is_system_file, meant_names, system_folder

CHART: Final = "chart"
"""Charts and maps, and what unlocks them."""

ROUTE: Final = "route"
"""Waypoints, routes, tracks, places."""

POSITION_LOG: Final = "position-log"
"""Sentences of instruments, as they were recorded."""

PICTURE: Final = "picture"
"""Screenshots, photos, films."""

DOCUMENT: Final = "document"
"""Documents, such as manuals, which makers hand out with updates as well."""

DATABASE: Final = "database"
"""Databases of which more is not known; programs keep charts and routes in such."""

OWNERS_KINDS = (CHART, ROUTE, POSITION_LOG, PICTURE, DOCUMENT, DATABASE)

_APPLE_DOUBLE = "apple-double"

_BY_FORMAT: Mapping[str, str] = {
    **dict.fromkeys(("s-57", "bsb-chart", "geotiff", "geopackage", "map-tiles"), CHART),
    **dict.fromkeys(("gpx", "kml", "geojson"), ROUTE),
    "nmea-log": POSITION_LOG,
    **dict.fromkeys(("tiff", "png", "jpeg", "bmp", "gif"), PICTURE),
    "pdf": DOCUMENT,
    "sqlite": DATABASE,
}
_BY_FOLDER: Mapping[str, str] = {
    **dict.fromkeys(("enc_root", "s100_root", "bsb_root"), CHART),
    "dcim": PICTURE,
}
_BY_NAME: Mapping[str, str] = dict.fromkeys(("catalog.031", "permit.txt", "serial.enc"), CHART)
_BY_ENDING: Mapping[str, str] = {
    **dict.fromkeys(("kap", "mbtiles", "gpkg", "gml"), CHART),
    **dict.fromkeys(("gpx", "kml", "kmz", "geojson"), ROUTE),
    "nmea": POSITION_LOG,
    **dict.fromkeys(("png", "jpg", "jpeg", "bmp", "gif", "tif", "tiff"), PICTURE),
    **dict.fromkeys(("jp2", "webp", "heic", "heif", "avif"), PICTURE),
    "pdf": DOCUMENT,
}


def owners_kind(file: InspectedFile) -> str | None:
    """Return which kind of an owner's data a file is, one of OWNERS_KINDS, or None.

    The kinds have words as "owner.chart" and so on.
    """
    found = None if file.container is None else file.container.format
    # A companion has the name of the file that it only says more about.
    if found == _APPLE_DOUBLE:
        return None
    kind = None if found is None else _BY_FORMAT.get(found)
    if kind not in {None, DATABASE}:
        return kind
    by_path = _kind_by_path(file.path)
    if by_path is not None or kind is None:
        return by_path
    # Systems keep databases of their own in their folders. What else stands there was
    # thrown away or rescued, and was the owner's.
    return None if system_folder(file.path) is not None else kind


def _kind_by_path(path: tuple[str, ...]) -> str | None:
    """Return the kind that name and folders tell of, where the content tells nothing."""
    name = path[-1]
    if is_system_file(name):
        return None
    for form in (name.casefold(), *meant_names(name)):
        kind = _BY_NAME.get(form) or _BY_ENDING.get(ending(form))
        if kind is not None:
            return kind
    folders = (_BY_FOLDER.get(folder.casefold()) for folder in reversed(path[:-1]))
    return next((kind for kind in folders if kind is not None), None)
