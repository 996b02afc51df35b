/* Looks every second and a half for the probe in the hand, so that nobody has to press. */

"use strict";

(() => {
  const words = document.getElementById("sought");
  const again = document.getElementById("look-again");
  const place = document.getElementById("place-it");
  if (!words || words.dataset.over === "yes") return;
  const path = `/api/probes/find?began=${encodeURIComponent(words.dataset.began)}`;
  again.hidden = true;

  async function look() {
    const got = await fetch(path, { credentials: "same-origin" });
    if (!got.ok) throw new Error(String(got.status));
    const sought = await got.json();
    if (words.textContent !== sought.words) words.textContent = sought.words;
    if (sought.probe !== null) {
      place.href = `/probes/move?probe=${encodeURIComponent(sought.probe)}`;
      place.hidden = false;
    }
    if (!sought.over) setTimeout(step, 1500);
  }

  function step() {
    look().catch(() => { again.hidden = false; });
  }

  setTimeout(step, 1500);
})();
