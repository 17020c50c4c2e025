// One chamber now: keeps the pictures of the view up to date.
import { $, data } from "./core.js";
import { announce, badges, end, liveness, need } from "./answers.js";
import { drawAlarms } from "./alarmlist.js";
import { drawBoards } from "./boards.js";
import { drawByHand } from "./byhand.js";
import { drawDetail } from "./detail.js";
import { DewChart } from "./dew.js";
import { Doing } from "./doing.js";
import { PlanLine } from "./planline.js";
import { RackFace } from "./rack.js";
import { setNow } from "./format.js";
import { Stream } from "./stream.js";

let now = data.now;
let plate = data.plate;
let reachable = true;
let parts = null;

function build() {
  if (!plate) return;
  parts = { rack: new RackFace($("rack"), plate), dew: new DewChart($("dew"), data.chamber), plan: new PlanLine($("plan"), data.chamber), doing: new Doing(data.chamber, plate) };
}

function draw(ageS = 0) {
  setNow(now.utc_ms);
  $("answers").replaceChildren(need({ ...now, live: now.live && reachable, trouble: reachable ? now.trouble : "cut" }), end(now), liveness(now, reachable, ageS));
  $("badges").replaceChildren(badges(now));
  const live = reachable && now.live;
  for (const picture of document.querySelectorAll(".picture")) picture.classList.toggle("stale", !live);
  announce(reachable ? now : { ...now, live: false });
  if (!parts || !now.state) return;
  parts.rack.draw(now);
  parts.dew.add(now);
  parts.plan.add(now);
  parts.doing.draw(now, live);
  drawAlarms($("alarms"), now, parts.doing);
  drawBoards($("boards"), plate, now, parts.doing, live);
  drawByHand($("byhand"), plate, now, parts.doing, live);
  drawDetail($("detail"), plate, now);
}

async function fresh(found) {
  if (found.cycle_changed || (!plate && found.state)) location.reload();
  now = found;
  draw();
}

if (!plate) for (const part of document.querySelectorAll(".doing, .pictures, #alarms, #byhand, #detail")) part.hidden = true; // nothing to show or order yet
build();
draw();
new Stream(data.chamber, fresh, (ok, ageS) => { if (ok !== reachable || !ok) { reachable = ok; draw(ageS); } });
