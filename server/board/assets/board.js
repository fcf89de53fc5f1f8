// Shows how far a plan is, and says when the connection is lost.
"use strict";
(() => {
  const work = document.getElementById("work");
  if (!work || !window.EventSource) return;
  const said = document.getElementById("said"), bar = document.getElementById("bar");
  const quietest = 7000; // several beats of the service
  let heard = new Date(), over = false;
  const clock = (at) => at.toISOString().slice(11, 19) + "Z";
  const events = new EventSource(work.dataset.events);
  events.onmessage = (event) => {
    const at = JSON.parse(event.data);
    heard = new Date();
    if (at.ended) {
      over = true;
      events.close();
      location.reload();
      return;
    }
    if (said.textContent !== at.text) said.textContent = at.text;
    if (at.total > 0) {
      bar.max = at.total;
      bar.value = at.done;
    } else {
      bar.removeAttribute("value");
    }
  };
  const lost = () => {
    if (over) return;
    over = true;
    events.close();
    work.hidden = true;
    document.getElementById("heard").textContent = clock(heard);
    const part = document.getElementById("lost");
    part.hidden = false;
    part.tabIndex = -1;
    part.focus();
    const look = async () => {
      try {
        await fetch("/healthz", { cache: "no-store" });
        document.getElementById("again").textContent = "The service answers again, since " + clock(new Date()) + ".";
      } catch {
        setTimeout(look, 2000);
      }
    };
    setTimeout(look, 1000);
  };
  events.onerror = lost;
  setInterval(() => { if (new Date() - heard > quietest) lost(); }, 1000);
  addEventListener("pagehide", () => { over = true; events.close(); });
})();
