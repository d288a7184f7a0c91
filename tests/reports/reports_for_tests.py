"""Hail reports as small as a test needs them; all values invented."""

from __future__ import annotations

from datetime import UTC, datetime

from hailcalc.reports.records import Report, Source

HEADING = "Time,Size,Location,County,State,Lat,Lon,Comments"

LONG = "om,yr,mo,dy,date,time,tz,st,stf,stn,mag,inj,fat,loss,closs,slat,slon,elat,elon,len,wid,ns"


def daily(*rows: str) -> bytes:
    """A daily file with these rows."""
    return "\n".join([HEADING, *rows, ""]).encode()


def long(*rows: str) -> bytes:
    """A file of the long database with these rows."""
    return "\n".join([LONG, *rows, ""]).encode()


def report(
    lat: float = 40.0,
    lon: float = -95.0,
    hundredths: int = 100,
    time: datetime | None = None,
    place: str = "EMBERFOLD",
    line: int = 2,
) -> Report:
    """A report; its place is invented."""
    moment = time or datetime(2026, 5, 19, 22, 11, tzinfo=UTC)
    return Report(moment, hundredths, place, "TALLOW", "ZZ", lat, lon, "", Source("hail.csv", line))
