// Renews what is shown when there is something new, and says how old it is when nothing is heard. Nothing is done by it.
"use strict";
(() => {
  const leastMs = 1000 * Number(document.body.dataset.renewS || 0);
  const silentMs = 35000; // the page says a word at least every 10 s
  const standing = document.getElementById("standing");
  let shownAt = Date.now();
  let heardAt = Date.now();
  let askedAt = Date.now();
  let asking = false;
  let due = 0;
  let source = null;

  const ago = (s) => (s < 120 ? `${s} s ago` : s < 7200 ? `${Math.floor(s / 60)} min ago` : `${Math.floor(s / 3600)} h ago`);

  function trouble(node) {
    const shown = standing.querySelector("[role=alert]");
    if (!(shown && node && shown.textContent === node.textContent)) {
      if (shown) shown.remove();
      if (node) standing.prepend(node);
    }
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

  // What is the same stays where it is: the focus, what is typed, what is open and where one has scrolled to.

  const isField = (node) => ["INPUT", "SELECT", "TEXTAREA"].includes(node.nodeName);
  const isSame = (a, b) => a.nodeName === b.nodeName && (a.id || "") === (b.id || "");

  function renewAttributes(shown, fresh) {
    const stays = (name) => (name === "open" && shown.nodeName === "DETAILS") || (name === "value" && isField(shown) && shown.type !== "hidden");
    for (const { name } of [...shown.attributes]) if (!fresh.hasAttribute(name) && !stays(name)) shown.removeAttribute(name);
    for (const { name, value } of fresh.attributes) if (shown.getAttribute(name) !== value && !stays(name)) shown.setAttribute(name, value);
  }

  function renewNode(shown, fresh) {
    if (shown.nodeType !== Node.ELEMENT_NODE) {
      if (shown.nodeValue !== fresh.nodeValue) shown.nodeValue = fresh.nodeValue;
      return;
    }
    renewAttributes(shown, fresh);
    renewChildren(shown, fresh);
  }

  function renewChildren(shown, fresh) {
    let next = shown.firstChild;
    for (const wanted of [...fresh.childNodes]) {
      let found = next;
      if (wanted.id) while (found && !isSame(found, wanted)) found = found.nextSibling;
      if (found && isSame(found, wanted)) {
        while (next !== found) next = removed(next);
        renewNode(found, wanted);
        next = found.nextSibling;
      } else {
        shown.insertBefore(wanted, next);
        if (next && !next.id && !wanted.id) next = removed(next);
      }
    }
    while (next) next = removed(next);
  }

  function removed(node) {
    const after = node.nextSibling;
    node.remove();
    return after;
  }

  function show(fresh) {
    const age = fresh.getElementById("age").closest("p");
    renewNode(document.getElementById("age").closest("p"), age);
    renewNode(document.getElementById("what"), fresh.getElementById("what"));
    const call = fresh.getElementById("call");
    if (call) renewNode(document.getElementById("call"), call);
    renewNode(document.querySelector("footer"), fresh.querySelector("footer"));
    shownAt = Date.now();
    trouble(fresh.querySelector("#standing [role=alert]"));
  }

  async function renew() {
    clearTimeout(due);
    due = 0;
    if (asking) return;
    asking = true;
    askedAt = Date.now();
    try {
      const answer = await fetch(location.href, {
        cache: "no-store",
        headers: { "Evenwater-Renews": "1" },
        signal: AbortSignal.timeout(15000),
      });
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (answer.redirected) location.reload();
      else if (answer.ok && document.getElementById("age")) show(fresh);
      else if (answer.ok) location.reload();
      else trouble(fresh.querySelector("#standing [role=alert]") || said(`✕ The page answered ${answer.status}.`));
    } catch {
      lost();
    } finally {
      asking = false;
    }
  }

  function soon() {
    if (!due && !document.hidden) due = setTimeout(renew, Math.max(0, askedAt + leastMs - Date.now()));
  }

  const LOST = "✕ The page does not answer: the box is off, out of reach, or the page was ended. What you see is old.";
  const lost = () => trouble(said(LOST));

  function listen() {
    if (source) source.close();
    source = new EventSource("/events");
    heardAt = Date.now();
    for (const name of ["here", "new", "trouble"])
      source.addEventListener(name, () => {
        heardAt = Date.now();
        if (name === "trouble" || document.body.classList.contains("unheard")) renew();
        else if (name === "new") soon();
      });
    source.onerror = () => {
      if (source.readyState === EventSource.CLOSED) soon(); // turned away: logged out, or too many watch
      else lost();
    };
  }

  function tick() {
    const age = document.getElementById("age");
    if (age) age.textContent = ago(Number(age.dataset.ageS) + Math.floor((Date.now() - shownAt) / 1000));
    if (!leastMs || document.hidden) return;
    if (Date.now() - heardAt > silentMs) {
      soon();
      listen();
    }
  }

  // A file that is chosen is put into the text field it belongs to; it goes nowhere until the form is sent.
  document.documentElement.classList.add("has-script");
  for (const chosen of document.querySelectorAll("input[type=file][data-into]"))
    chosen.addEventListener("change", async () => {
      if (chosen.files.length) document.getElementById(chosen.dataset.into).value = await chosen.files[0].text();
    });

  setInterval(tick, 1000);
  if (leastMs) {
    listen();
    document.addEventListener("visibilitychange", soon);
    window.addEventListener("online", () => {
      soon();
      listen();
    });
  }
})();
