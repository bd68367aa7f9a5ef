"""The demo's gauge that was found out of calibration: its failed calibration is a finding on record."""

import datetime as dt

from checks.models import InstrumentFinding
from checks.services.doubt import write_finding
from reports.demo.cases import FAULTY_GAUGE
from reports.demo.master import Master

REPORTED_BY, AT = "controller1", dt.time(15, tzinfo=dt.UTC)
TEXT = "Invented: it failed its calibration; the certificate states the error as found."


def report_faulty_gauge(master: Master) -> InstrumentFinding:
    """Reported on the day on which the laboratory found it, through the pen of the service."""
    failed = master.calibrations[FAULTY_GAUGE][-1]
    return write_finding(
        instrument=master.instruments[FAULTY_GAUGE],
        by=master.people[REPORTED_BY],
        found_on=failed.calibrated_on,
        error=failed.error_found,
        text=TEXT,
        at=dt.datetime.combine(failed.calibrated_on, AT),
    )
