// Looks again when the page says so, and only while somebody looks at it. No timer runs on the
// server, and in a pass the next look comes after the pass.
"use strict";
(() => {
  const look = document.getElementById("look");
  const say = document.getElementById("looked");
  let timer = 0;
  const later = (seconds) => {
    clearTimeout(timer);
    timer = setTimeout(again, Math.max(1, seconds) * 1000);
  };
  async function again() {
    if (document.hidden) return;
    try {
      const answer = await fetch("/api/look", { headers: { accept: "application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const found = await answer.json();
      say.textContent = found.say;
      if (found.token !== look.dataset.token && !editing()) {
        look.dataset.token = found.token;
        document.body.dispatchEvent(new Event("harness:changed"));
      }
      later(found.look_again_s);
    } catch {
      say.textContent = "The page does not answer; looking again in a while.";
      later(30);
    }
  }
  // Nothing is taken away under the hands of a person who fills a form in.
  const editing = () => {
    const at = document.activeElement;
    const form = at && at.closest("#tonight form, #grid form");
    return Boolean(form && at.matches("input:not([type=hidden])"));
  };
  if (look) {
    later(Number(look.dataset.againS));
    document.addEventListener("visibilitychange", () => { if (!document.hidden) later(1); });
  }
  // The token may stand in the address after #, which no browser sends anywhere.
  const form = document.getElementById("token-form");
  if (form && location.hash.startsWith("#token=")) {
    form.elements.token.value = decodeURIComponent(location.hash.slice(7));
    history.replaceState(null, "", location.pathname + location.search);
    form.elements.name.focus();
  }
})();
