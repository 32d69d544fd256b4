// Renews what is shown, and says how old it is when it cannot be renewed. Nothing is done by it.
"use strict";
(() => {
  const renewMs = 1000 * Number(document.body.dataset.renewS || 0);
  const standing = document.getElementById("standing");
  let shownAt = Date.now();
  let asking = false;

  const ago = (s) => (s < 120 ? `${s} s ago` : s < 7200 ? `${Math.floor(s / 60)} min ago` : `${Math.floor(s / 3600)} h ago`);

  function tick() {
    const age = document.getElementById("age");
    if (age) age.textContent = ago(Number(age.dataset.ageS) + Math.floor((Date.now() - shownAt) / 1000));
  }

  function trouble(node) {
    standing.querySelectorAll("[role=alert]").forEach((old) => old.remove());
    if (node) standing.prepend(node);
    document.body.classList.toggle("unheard", Boolean(node));
  }

  function said(text) {
    const box = document.createElement("div");
    box.setAttribute("role", "alert");
    const line = document.createElement("p");
    line.textContent = text;
    box.append(line);
    return box;
  }

  function show(fresh) {
    const main = document.getElementById("what");
    const busy = main.contains(document.activeElement) && document.activeElement !== main;
    if (!busy && !main.querySelector("details[open]")) {
      main.replaceChildren(...fresh.getElementById("what").childNodes);
      document.getElementById("age").replaceWith(fresh.getElementById("age"));
      shownAt = Date.now();
      trouble(fresh.querySelector("#standing [role=alert]"));
    }
    const call = fresh.getElementById("call");
    const shown = document.getElementById("call");
    if (call && shown && call.textContent !== shown.textContent) shown.replaceChildren(...call.childNodes);
  }

  async function renew() {
    if (asking || document.hidden) return;
    asking = true;
    try {
      const answer = await fetch(location.href, { cache: "no-store", signal: AbortSignal.timeout(15000) });
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (answer.ok && document.getElementById("age")) show(fresh);
      else if (answer.ok) location.reload();
      else trouble(fresh.querySelector("#standing [role=alert]") || said(`✕ The page answered ${answer.status}.`));
    } catch {
      trouble(said("✕ The page does not answer: the box is off, out of reach, or the page was ended. What you see is old."));
    } finally {
      asking = false;
    }
  }

  setInterval(tick, 1000);
  if (renewMs) {
    setInterval(renew, renewMs);
    document.addEventListener("visibilitychange", renew);
    window.addEventListener("online", renew);
  }
})();
