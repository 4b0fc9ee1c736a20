// Reads a calendar file with ical.js in strict mode and prints what it found as JSON. An error is an exit code.
import { readFileSync } from "node:fs";
import ICAL from "ical.js";

ICAL.design.strict = true;
const calendar = new ICAL.Component(ICAL.parse(readFileSync(process.argv[2], "utf8")));

// A whole day as its date, a time as its instant: never in this machine's own zone.
const when = (time) => (time.isDate ? time.toString() : time.toJSDate().toISOString().replace(".000Z", "Z"));

const events = calendar.getAllSubcomponents("vevent").map((component) => {
  const event = new ICAL.Event(component);
  return {
    uid: event.uid,
    sequence: event.sequence,
    summary: event.summary,
    description: event.description,
    status: component.getFirstPropertyValue("status"),
    start: when(event.startDate),
    end: when(event.endDate),
    alarms: component.getAllSubcomponents("valarm").map((alarm) => ({
      says: alarm.getFirstPropertyValue("description"),
      seconds: alarm.getFirstPropertyValue("trigger").toSeconds(),
    })),
  };
});
process.stdout.write(JSON.stringify(events));
