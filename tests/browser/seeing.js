/* What a person would notice of a page, measured in it: an object of functions. */
({
  /* Everything that can be pressed or filled in, and is shown. */
  controls() {
    const all = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
    return [...document.querySelectorAll(all)].filter((one) =>
      !one.disabled && one.checkVisibility({ visibilityProperty: true, opacityProperty: true }));
  },

  named(one) {
    const words = one.getAttribute("aria-label") || one.innerText || one.name || one.id || "";
    return `<${one.localName}> ${words.trim().replace(/\s+/g, " ").slice(0, 60)}`;
  },

  /* What stands out at the right of the window, innermost first. Empty: no sideways scrolling. */
  sticking_out() {
    const width = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth <= width) return [];
    return [...document.querySelectorAll("body *")].reverse()
      .filter((one) => one.checkVisibility() && one.getBoundingClientRect().right > width + 0.5)
      .slice(0, 5)
      .map((one) => `${this.named(one)} reaches ${one.getBoundingClientRect().right.toFixed(0)} of ${width}`);
  },

  /* Targets smaller than `least` px. A link within a sentence may be as high as its line
     (WCAG 2.2, 2.5.8, "inline"); what a label belongs to is as large as both together. */
  small_targets(least) {
    return this.controls().flatMap((one) => {
      const box = one.getBoundingClientRect();
      if (box.right <= 0) return [];   // off the screen until it has the focus
      const inline = one.localName === "a" && getComputedStyle(one).display === "inline"
        && [...one.parentElement.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
      if (inline) return [];
      const boxes = [box, ...[...(one.labels ?? [])].map((l) => l.getBoundingClientRect())];
      const large = boxes.some((b) => b.width >= least - 0.01 && b.height >= least - 0.01);
      return large ? [] : [`${this.named(one)}: ${box.width.toFixed(1)} × ${box.height.toFixed(1)} px`];
    });
  },

  /* Buttons that only a script gives a meaning. */
  idle_buttons() {
    return this.controls()
      .filter((one) => one.localName === "button" && (one.type === "button" || !one.form))
      .map((one) => this.named(one));
  },

  /* The stops of the tab key: one for each group of radio buttons. */
  stops() {
    const groups = new Set();
    return this.controls().filter((one) => {
      if (one.tabIndex < 0) return false;
      if (one.type !== "radio") return true;
      if (groups.has(one.name)) return false;
      groups.add(one.name);
      return true;
    }).map((one) => one.type === "radio" ? `<radio> ${one.name}` : this.named(one));
  },

  /* Where the focus is, how it shows, and whether it can be seen. */
  focus() {
    const one = document.activeElement;
    if (!one || one === document.body || one === document.documentElement) return null;
    const box = one.getBoundingClientRect(), style = getComputedStyle(one);
    const x = (Math.max(box.left, 0) + Math.min(box.right, innerWidth)) / 2;
    const y = (Math.max(box.top, 0) + Math.min(box.bottom, innerHeight)) / 2;
    const there = document.elementFromPoint(x, y);
    return {
      name: one.type === "radio" ? `<radio> ${one.name}` : this.named(one),
      outline: style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
      seen: there !== null && (one === there || one.contains(there)),
    };
  },
})
