// Manners of the app's page: where the focus goes, when the list of screens closes, what is said when windtoll ends.
(() => {
  "use strict";
  const PHONE = "(max-width: 768px)";
  const PATIENCE_MS = 20000;
  let leaving = null; // the heading of the screen that was left, until the new one stands there

  const heading = () => document.querySelector("[data-testid=stMain] h1");

  function left() {
    const old = heading();
    leaving = { text: old ? old.innerText : "", until: Date.now() + PATIENCE_MS };
  }

  function arrived() {
    const found = heading();
    if (!leaving || !found) return;
    if (found.innerText === leaving.text && Date.now() < leaving.until) return;
    leaving = null;
    found.setAttribute("tabindex", "-1");
    found.focus({ preventScroll: true });
    const main = document.querySelector("[data-testid=stMain]");
    if (main) main.scrollTo(0, 0);
  }

  // A link to a field: once its part is drawn, the focus goes there.
  let gone = "";
  function goToField() {
    const mark = document.querySelector("[data-testid=stMain] .wt-go");
    const app = document.querySelector("[data-testid=stApp]");
    if (!mark || mark.dataset.turn === gone || app.getAttribute("data-test-script-state") !== "notRunning") return;
    const field = document.querySelector(`.${CSS.escape(mark.dataset.field)}`);
    const input = field && field.querySelector("input, textarea, [role=combobox]");
    leaving = null;
    gone = mark.dataset.turn;
    if (!input) return;
    input.focus({ preventScroll: true });
    field.scrollIntoView({ block: "center" });
  }

  function closeSidebar() {
    if (!window.matchMedia(PHONE).matches) return;
    const bar = document.querySelector("[data-testid=stSidebar][data-collapsed=false]");
    const button = bar && bar.querySelector("[data-testid=stSidebarCollapseButton] button");
    if (button) button.click();
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest && event.target.closest("[data-testid=stPageLink] a");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
    left();
    if (link.closest("[data-testid=stSidebar]")) setTimeout(closeSidebar, 0);
  }, true);
  window.addEventListener("popstate", left);

  function ended() {
    const app = document.querySelector("[data-testid=stApp]");
    const state = app ? app.getAttribute("data-test-connection-state") : "";
    const away = state === "PINGING_SERVER" || state === "DISCONNECTED_FOREVER";
    const since = away ? (ended.since = ended.since || Date.now()) : (ended.since = 0);
    document.documentElement.classList.toggle("wt-away", Boolean(away));
    let note = document.getElementById("wt-ended");
    if (!away || Date.now() - since < 1500) {
      if (note && !away) note.remove();
      return;
    }
    if (note) return;
    note = document.createElement("div");
    note.id = "wt-ended";
    note.setAttribute("role", "alert");
    note.textContent = "windtoll has ended, or was stopped in its terminal. What you had done is saved. "
      + "Start windtoll again, then this page goes on by itself.";
    document.body.appendChild(note);
  }

  let asked = false;
  new MutationObserver(() => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; goToField(); arrived(); ended(); });
  }).observe(document.documentElement, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["data-test-connection-state", "data-test-script-state"],
  });
  setInterval(() => { ended(); goToField(); arrived(); }, 1000);
})();
