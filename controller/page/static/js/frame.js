// What every view has: lock and unlock, log out, light or dark.
import { $, ask, data, el, once, t, whenLocked } from "./core.js";
import { zone } from "./format.js";

if ($("zone")) $("zone").textContent = t("frame.times", { zone: zone(data.now?.utc_ms) });
// Language and units come back to just this, not only to its view.
for (const link of document.querySelectorAll('footer a[href^="/language/"], footer a[href^="/units/"]')) link.addEventListener("click", () => { link.search = new URLSearchParams({ then: location.pathname + location.search }); });
document.querySelector(".tabs [aria-current]")?.scrollIntoView({ inline: "center", block: "nearest" });
$("light")?.addEventListener("click", () => {
  const dark = document.documentElement.dataset.light ? document.documentElement.dataset.light === "night" : matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.light = dark ? "day" : "night";
  document.cookie = `light=${document.documentElement.dataset.light}; path=/; max-age=31536000; samesite=strict`;
  document.dispatchEvent(new Event("light"));
});
$("lock")?.addEventListener("click", async () => { await ask("/lock", {}, "POST"); location.reload(); });
$("logout")?.addEventListener("click", async () => { await fetch("/logout", { method: "POST", headers: { "x-dewhold-token": data.csrf } }); location.assign("/login"); });
$("unlock")?.addEventListener("click", async () => { if (await unlocked()) location.reload(); });
whenLocked(() => (asking ??= unlocked().finally(() => { asking = null; })));
let asking = null; // one dialog, however many asked

// The password once more; true when it was right. What was typed elsewhere stays.
function unlocked() {
  return new Promise((resolve) => {
    const password = el("input", { type: "password", id: "unlock-password", autocomplete: "current-password", required: true });
    const problem = el("p", { class: "problem", hidden: true, role: "alert" });
    const told = (key) => { problem.textContent = t(key); problem.hidden = false; password.select(); };
    const shut = (right) => { box.close(); box.remove(); resolve(right); };
    const send = once(async () => {
      try {
        const answer = await fetch("/unlock", { method: "POST", headers: { "x-dewhold-token": data.csrf }, body: new URLSearchParams({ password: password.value }), signal: AbortSignal.timeout(15000) });
        if (answer.ok) shut(true);
        else told(answer.status === 429 ? "lock.wait" : "lock.wrong");
      } catch { told("net.cut"); }
    });
    const box = el("dialog", { "aria-label": t("lock.unlock"), on: { cancel: () => shut(false) } }, el("form", { on: { submit: send } }, el("div", { class: "body" }, el("h2", {}, t("lock.unlock")), el("p", {}, t("lock.words")), el("label", { for: "unlock-password" }, t("login.password")), password, problem),
      el("div", { class: "foot" }, el("button", { class: "main", type: "submit" }, t("lock.unlock")), el("button", { type: "button", on: { click: () => shut(false) } }, t("dialog.no")))));
    document.body.append(box);
    box.showModal();
  });
}
