// Pictures as they come, and whether they still come: a view that gets none is told to be grey and crossed.
const QUIET_MS = 4000;

export class Stream {
  // onPicture(found), onLive(live, ageSeconds); live: the way to the page works. Whether a chamber is live it says itself.
  constructor(chamber, onPicture, onLive) {
    this.url = "/api/v1/events" + (chamber ? `?chamber=${encodeURIComponent(chamber)}` : "");
    this.onPicture = onPicture;
    this.onLive = onLive;
    this.lastMs = performance.now();
    this.pauseMs = 500;
    this.open();
    setInterval(() => this.look(), 1000);
  }

  open() {
    this.source = new EventSource(this.url);
    this.source.onmessage = (event) => {
      this.lastMs = performance.now();
      this.pauseMs = 500;
      this.onPicture(JSON.parse(event.data));
      this.onLive(true, 0);
    };
    this.source.onopen = () => { this.lastMs = performance.now(); };
    this.source.onerror = () => {
      if (this.source.readyState !== EventSource.CLOSED) return;
      this.pauseMs = Math.min(10000, this.pauseMs * 2);
      setTimeout(() => this.open(), this.pauseMs);
    };
  }

  // The stream sends a comment every five seconds even when a chamber is silent; an open source without news is asked.
  async look() {
    const age = performance.now() - this.lastMs;
    if (age < QUIET_MS) return;
    try {
      const answer = await fetch("/api/v1/alive", { signal: AbortSignal.timeout(2500), cache: "no-store" });
      if (answer.status === 401) location.reload();
      if (answer.ok && this.source.readyState === EventSource.OPEN) { this.onLive(true, 0); return; }
      this.onLive(answer.ok && this.source.readyState === EventSource.OPEN, age / 1000);
    } catch {
      this.onLive(false, age / 1000);
    }
  }
}
