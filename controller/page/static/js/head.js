// The head of the smaller views of a chamber, kept up to date: the four answers and the badges.
import { $, data } from "./core.js";
import { announce, badges, end, liveness, need } from "./answers.js";
import { setNow } from "./format.js";
import { Stream } from "./stream.js";

export function follow(draw) {
  let now = data.now;
  let reachable = true;
  const show = (ageS = 0) => {
    setNow(now.utc_ms);
    $("answers").replaceChildren(need({ ...now, live: now.live && reachable, trouble: reachable ? now.trouble : "cut" }), end(now), liveness(now, reachable, ageS));
    $("badges").replaceChildren(badges(now));
    announce(reachable ? now : { ...now, live: false });
    for (const picture of document.querySelectorAll(".picture")) picture.classList.toggle("stale", !(reachable && now.live));
    if (now.state) draw(now, reachable && now.live);
  };
  show();
  new Stream(data.chamber, (found) => { now = found; show(); }, (ok, ageS) => { if (ok !== reachable || !ok) { reachable = ok; show(ageS); } });
}
