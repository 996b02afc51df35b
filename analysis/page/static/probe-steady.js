/* Says every few seconds how steady the probe in the bath is, so that nobody has to press. */

"use strict";

(() => {
  const words = document.getElementById("steadiness");
  const again = document.getElementById("look-again");
  if (!words) return;
  const path = `/api/probes/steadiness?probe=${encodeURIComponent(words.dataset.probe)}`;
  again.hidden = true;

  async function look() {
    const got = await fetch(path, { credentials: "same-origin" });
    if (!got.ok) throw new Error(String(got.status));
    const found = await got.json();
    if (words.textContent !== found.words) words.textContent = found.words;
    words.dataset.steady = found.steady ? "yes" : "no";
    setTimeout(step, 5000);
  }

  function step() {
    look().catch(() => { again.hidden = false; });
  }

  setTimeout(step, 5000);
})();
