// Orders: one button one intention, an id that lasts until its outcome is known, and the outcome in words.
import { $, ask, data, el, may, saidIn, sign, t } from "./core.js";
import { seconds } from "./format.js";
import { confirmed, shelveDialog } from "./dialogs.js";
import { newId, Unsure } from "./unsure.js";

const PLACES = ["start", "resume", "restart", "pause", "hold", "next-phase", "stop", "abort", "reset", "reset-trips"];
const GRAVE = new Set(["stop", "abort"]);

const ANSWER_MS = 15000;

export class Doing {
  // quiet: without the row of buttons, for views that give single orders.
  constructor(chamber, plate, quiet = false) {
    this.quiet = quiet;
    this.chamber = chamber;
    this.plate = plate;
    this.pending = new Map(); // intention -> id, while it is on its way
    this.since = 0; // journal line of the last outcome
    this.unsure = new Unsure(chamber, (verb, outcome) => this.late(verb, outcome), () => this.live === true);
    this.buttons = new Map();
    this.now = null;
    this.live = null; // not looked yet
    this.key = "";
    this.wait();
  }

  // Nothing is on its way: what may be ordered now, or why nothing.
  wait() {
    $("outcome").replaceChildren(el("span", { class: "soft" }, this.live === false ? t("doing.silent") : data.locked ? t("doing.locked") : may("operate") ? t("doing.ready") : t("doing.view_only")));
  }

  draw(now, live) {
    const turned = this.live !== live && (this.live !== null || !live);
    this.now = now;
    this.live = live;
    if (turned) this.wait();
    if (this.quiet) return;
    const key = JSON.stringify([now.state, now.phase, now.by_person, now.trips.length, live, this.old(), [...this.pending.keys()]]);
    if (key === this.key) return;
    this.key = key;
    const held = document.activeElement?.dataset?.verb;
    const legal = PLACES.filter((verb) => this.fits(verb));
    $("buttons").replaceChildren(...legal.map((verb) => this.button(verb)));
    if (held) $("buttons").querySelector(`[data-verb="${held}"]`)?.focus();
    $("whynot").replaceChildren(...PLACES.map((verb) => el("li", {}, el("strong", {}, t(`verb.${verb}`)), `: ${t(`does.${verb}`)}. `, this.fits(verb) ? null : el("span", { class: "soft" }, t("doing.not_now", { why: t(`why.${verb}`) })))));
  }

  // A picture that does not know yet what the last order did: nothing is given on it.
  old() {
    return (this.now.journal ?? 0) < this.since;
  }

  fits(verb) {
    if (verb === "reset-trips") return this.now.trips.length > 0;
    if (verb === "next-phase") return this.now.state === "running" && this.now.by_person;
    return this.now.legal.includes(verb);
  }

  button(verb) {
    const main = verb === "start" || verb === "restart" || verb === "resume";
    const busy = this.pending.has(verb);
    return el("button", { type: "button", class: main ? "main" : GRAVE.has(verb) ? "grave" : "", "data-verb": verb, disabled: !may("operate") || !this.live || busy || this.old(), on: { click: () => this.press(verb) } }, t(`verb.${verb}`));
  }

  async press(verb) {
    if (verb === "start") { document.dispatchEvent(new CustomEvent("start-dialog", { detail: this })); return; }
    if (GRAVE.has(verb) && !(await confirmed(t(`sure.${verb}`), t(`verb.${verb}`)))) return;
    await this.give(verb);
  }

  async shelve(alarm) {
    const asked = await shelveDialog(alarm);
    if (asked) await this.give(asked.verb, asked.args, `${asked.verb} ${alarm.tag}`);
  }

  // Give an order. The same order given again before its outcome is known has the same id: it happens once, also when
  // the way was cut after it had arrived, and after this window was loaded again.
  async give(verb, args = {}, intention = verb) {
    const open = this.unsure.find(verb, args);
    const id = this.pending.get(intention) ?? open ?? newId();
    this.pending.set(intention, id);
    this.say("note", t("doing.sent", { verb: t(`verb.${verb}`) }));
    this.draw(this.now, this.live);
    try {
      let found = await ask(`/api/v1/chambers/${this.chamber}/commands`, { id, verb, args, seen: this.now.state, ...(verb === "next-phase" ? { phase: this.now.phase } : {}) }, "POST", ANSWER_MS);
      for (let tries = 0; !found.outcome && tries < 20; tries++) found = await ask(`/api/v1/chambers/${this.chamber}/commands/${id}?wait_s=2`, null, "GET", ANSWER_MS);
      if (found.outcome) this.unsure.settled(id);
      else this.unsure.keep(id, verb, args);
      this.tell(verb, found.outcome);
      return found.outcome;
    } catch (error) {
      if (error.cut) this.unsure.keep(id, verb, args);
      this.say("look", t(error.cut ? "doing.cut" : "doing.failed", { verb: t(`verb.${verb}`), why: error.message }));
      return null;
    } finally {
      this.pending.delete(intention);
      this.key = "";
      this.draw(this.now, this.live);
    }
  }

  tell(verb, outcome) {
    const name = t(`verb.${verb}`);
    if (!outcome) { this.say("look", t("doing.no_answer", { verb: name })); return; }
    this.since = Math.max(this.since, outcome.line); // buttons wait for a picture that knows of it
    if (outcome.done) this.say("well", t("doing.done", { verb: name, clock: seconds(outcome.utc_ms) }));
    else this.say("look", t("doing.refused", { verb: name, reason: saidIn(outcome.reason) }));
  }

  // What became of an order of which nobody knew: told when it is known, or that it never arrived.
  late(verb, outcome) {
    if (outcome) this.tell(verb, outcome);
    else this.say("look", t("doing.never", { verb: t(`verb.${verb}`) }));
    this.key = "";
    if (this.now) this.draw(this.now, this.live);
  }

  say(level, words) {
    $("outcome").replaceChildren(sign(level), el("span", {}, words));
  }
}
