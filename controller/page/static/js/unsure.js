// Orders of which nobody knows whether they arrived: the way was cut, or the controller did not answer. Each keeps its id,
// so that giving it again is still the same order; what became of it is asked for until it is known.
import { ask } from "./core.js";

const AGAIN_MS = 2000;
const NEVER = 20; // so many answers of a live controller without an outcome (the desk refuses what is 30 s old): it never arrived

export function newId() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

export class Unsure {
  // told(verb, outcome): outcome is null for an order that never arrived. live(): is the chamber's picture live?
  constructor(chamber, told, live) {
    Object.assign(this, { chamber, told, live });
    this.name = `unsure ${chamber}`;
    this.open = new Map(JSON.parse(sessionStorage.getItem(this.name) ?? "[]")); // id -> [verb, args]
    for (const id of this.open.keys()) this.follow(id);
  }

  find(verb, args) {
    const wanted = JSON.stringify([verb, args]);
    return [...this.open].find(([, given]) => JSON.stringify(given) === wanted)?.[0];
  }

  keep(id, verb, args) {
    if (this.open.has(id)) return;
    this.open.set(id, [verb, args]);
    this.store();
    this.follow(id);
  }

  settled(id) {
    this.open.delete(id);
    this.store();
  }

  store() {
    sessionStorage.setItem(this.name, JSON.stringify([...this.open]));
  }

  async follow(id) {
    const [verb] = this.open.get(id);
    for (let without = 0; without < NEVER; ) {
      await new Promise((resolve) => { setTimeout(resolve, AGAIN_MS); });
      if (!this.open.has(id)) return;
      try {
        const { outcome } = await ask(`/api/v1/chambers/${this.chamber}/commands/${id}`, null, "GET", 10000);
        if (outcome && this.open.has(id)) { this.settled(id); this.told(verb, outcome); return; }
        if (this.live()) without++;
      } catch { /* still cut */ }
    }
    if (!this.open.has(id)) return;
    this.settled(id);
    this.told(verb, null);
  }
}
