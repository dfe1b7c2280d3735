// Keeps the live view as the session goes: it shows what the stream of the server
// sends, and says so plainly when nothing comes.
(() => {
  "use strict";
  const box = document.getElementById("live");
  const spoken = document.getElementById("live-spoken");
  const offline = document.getElementById("live-offline");
  if (!box || !window.EventSource) return;

  // A beat comes at least every 10 s; without one for this long the line is dead.
  const patience = 25000;
  let last = Number(box.dataset.last) || 0;
  let source = null;
  let heard = 0; // when something came last, ms
  let lost = 0; // since when nothing came, ms; 0 while all is well
  let again = 0; // timer of the next try

  const show = (html) => {
    const fresh = new DOMParser().parseFromString(html, "text/html").body.firstElementChild;
    if (!fresh) return;
    box.replaceChildren(fresh);
    // Said only when it changed, or a screen reader says it twice.
    if (spoken.textContent !== fresh.dataset.spoken) spoken.textContent = fresh.dataset.spoken;
    document.title = "Live: " + fresh.dataset.title + " – waycall";
  };

  const well = () => {
    heard = Date.now();
    if (!lost) return;
    lost = 0;
    offline.hidden = true;
    offline.textContent = "";
  };

  const broken = () => {
    if (lost) return;
    lost = Date.now();
    offline.textContent = "▲ No connection to waycall. What is shown may be old; trying again.";
    offline.hidden = false;
  };

  // Back to a page that says what is wrong: the job or the session here may be gone.
  const refused = async () => {
    try {
      const page = await fetch(location.href, { method: "HEAD", redirect: "manual", cache: "no-store" });
      if (!page.ok) location.reload();
    } catch {
      // The server is away; it is tried again.
    }
  };

  const open = () => {
    clearTimeout(again);
    if (source) source.close();
    const mine = new EventSource(box.dataset.stream + "?after=" + last);
    source = mine;
    heard = Date.now();
    mine.onopen = well;
    mine.addEventListener("beat", well);
    mine.addEventListener("log", (e) => {
      last = Number(e.lastEventId);
      well();
    });
    mine.addEventListener("view", (e) => {
      well();
      show(e.data);
    });
    mine.addEventListener("reset", () => location.reload());
    mine.onerror = () => {
      broken();
      if (mine.readyState === EventSource.CLOSED) {
        refused();
        again = setTimeout(open, 2000);
      }
    };
  };

  setInterval(() => {
    if (Date.now() - heard > patience) {
      broken();
      open();
    }
  }, 5000);
  addEventListener("online", open);
  open();

  // A tablet on a stand must not go dark.
  const wake = () => {
    if (navigator.wakeLock && !document.hidden) navigator.wakeLock.request("screen").catch(() => {});
  };
  document.addEventListener("visibilitychange", wake);
  wake();

  const full = document.getElementById("live-full");
  if (full && document.fullscreenEnabled) {
    full.hidden = false;
    full.addEventListener("click", () => {
      if (document.fullscreenElement) document.exitFullscreen();
      else document.documentElement.requestFullscreen().catch(() => {});
    });
  }
})();
