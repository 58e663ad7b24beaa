"""Reads a calendar with two general-purpose parsers and prints what each found, a line of JSON a parser."""

import json
import sys

import icalendar
import vobject

text = open(sys.argv[1], "rb").read()
assert all(len(line) <= 75 for line in text.split(b"\r\n")), "RFC 5545 folds lines at 75 octets"
assert b"\n" not in text.replace(b"\r\n", b""), "RFC 5545 ends lines with CR LF"

found = []
for event in icalendar.Calendar.from_ical(text).walk("VEVENT"):
    alarms = event.walk("VALARM")
    found.append({
        "uid": str(event["UID"]),
        "day": event["DTSTART"].dt.isoformat(),
        "sequence": int(event["SEQUENCE"]),
        "summary": str(event["SUMMARY"]),
        "url": str(event["URL"]),
        "off": str(event.get("STATUS", "")) == "CANCELLED",
        "alarm_hours": [alarm["TRIGGER"].dt.total_seconds() / 3600 for alarm in alarms],
    })
print(json.dumps(found))

found = []
for event in vobject.readOne(text.decode("utf-8")).contents.get("vevent", []):
    found.append({
        "uid": event.uid.value,
        "day": event.dtstart.value.isoformat(),
        "sequence": int(event.sequence.value),
        "summary": event.summary.value,
        "url": event.url.value,
        "off": hasattr(event, "status") and event.status.value == "CANCELLED",
        "alarm_hours": [alarm.trigger.value.total_seconds() / 3600 for alarm in event.contents.get("valarm", [])],
    })
print(json.dumps(found))
