// What the checks of the floor pages measure, run inside the page. Lengths in CSS px.
(() => {
  const TAPPED = "a[href], button, input:not([type=hidden]), select, textarea, summary, label:has(input), [role=button], [tabindex]:not([tabindex='-1'])";

  function shown(element) {
    const box = element.getBoundingClientRect();
    // What waits off the page until it is focused, and the hidden key that takes Enter, take no tap.
    return box.width > 2 && box.height > 2 && box.bottom > 0 && element.checkVisibility({ visibilityProperty: true }) && !element.closest(".unseen, [aria-hidden=true]");
  }

  function named(element) {
    const words = (element.innerText || element.value || element.name || "").trim().replace(/\s+/g, " ").slice(0, 40);
    return `${element.tagName.toLowerCase()}${element.className ? "." + String(element.className).split(" ").join(".") : ""} "${words}"`;
  }

  // A box or a dot inside its own label is tapped through the label.
  function targets() {
    return [...document.querySelectorAll(TAPPED)].filter((one) => {
      const label = one.closest("label");
      return shown(one) && !(label && label !== one) && !(one.disabled && one.tagName === "INPUT");
    });
  }

  function layerOf(element) {
    for (let one = element; one; one = one.parentElement) if (/fixed|sticky/.test(getComputedStyle(one).position)) return one;
    return null;
  }

  function gap(one, other) {
    const across = Math.max(other.left - one.right, one.left - other.right, 0);
    const down = Math.max(other.top - one.bottom, one.top - other.bottom, 0);
    return Math.hypot(across, down);
  }

  function sizes({ mm, first, other, apart, actApart }) {
    const slack = 0.6;
    const small = [];
    const close = [];
    const all = targets().map((element) => ({ element, box: element.getBoundingClientRect(), layer: layerOf(element) }));
    for (const { element, box } of all) {
      const least = element.matches("[data-floor-primary], .key-first") ? first : other;
      // The sizes to try are there to be too small.
      if (element.matches(".size-9")) continue;
      const smaller = Math.min(box.width, box.height);
      if (smaller < least * mm - slack) small.push(`${named(element)} ${box.width.toFixed(0)} x ${box.height.toFixed(0)} px, ${least} mm is ${(least * mm).toFixed(0)}`);
    }
    for (let i = 0; i < all.length; i += 1) {
      for (let j = i + 1; j < all.length; j += 1) {
        const [one, two] = [all[i], all[j]];
        if (one.element.contains(two.element) || two.element.contains(one.element)) continue;
        // A bar or a band that stays where it is lies over what scrolls below it.
        if (one.layer !== two.layer) continue;
        const acts = [one, two].some(({ element }) => element.matches("form:has([name=pin]) .form-acts button"));
        const least = (acts ? actApart : apart) * mm;
        const found = gap(one.box, two.box);
        if (found < least - slack) close.push(`${named(one.element)} and ${named(two.element)}: ${found.toFixed(0)} px, ${least.toFixed(0)} wanted`);
      }
    }
    return { small, close, count: all.length };
  }

  function type(least) {
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const small = new Set();
    let count = 0;
    while (walker.nextNode()) {
      const node = walker.currentNode;
      const parent = node.parentElement;
      if (!node.data.trim() || parent.closest("script, style, title, desc, .unseen, [aria-hidden=true]") || !parent.checkVisibility({ visibilityProperty: true })) continue;
      if (parent.closest("select") && parent.tagName === "OPTION") continue;
      // A drawing is scaled as a whole; its letters are as large as they come out on the glass.
      const scale = parent instanceof SVGElement ? Math.abs(parent.getScreenCTM().d) : 1;
      const size = parseFloat(getComputedStyle(parent).fontSize) * scale;
      count += 1;
      if (size < least - 0.05) small.add(`${size.toFixed(1)} px: "${node.data.trim().slice(0, 40)}" in ${parent.closest("[class]")?.getAttribute("class") ?? parent.tagName}`);
    }
    return { small: [...small], count };
  }

  function withoutUnit() {
    const keyed = [...document.querySelectorAll("input[inputmode=decimal], input[data-quantity]")];
    const missing = keyed.filter((input) => {
      const field = input.closest(".field, td, [data-field]");
      return !field?.querySelector(".unit")?.innerText.trim() && !input.closest("table")?.querySelector("th .unit");
    });
    return { missing: missing.map((input) => input.name), count: keyed.length };
  }

  // Every state of the page: what lies under a fold is looked at too.
  function unfold() {
    for (const fold of document.querySelectorAll("details")) fold.open = true;
  }

  // Nothing is moved sideways to be read: neither the page nor anything on it.
  function sticksOut() {
    const wide = [...document.querySelectorAll("html, main *")].filter(
      (one) => one.scrollWidth > one.clientWidth + 1 && (one.tagName === "HTML" || /auto|scroll/.test(getComputedStyle(one).overflowX)) && !one.matches("input, select, textarea"),
    );
    return wide.map((one) => `${named(one).split(" ")[0]} by ${one.scrollWidth - one.clientWidth} px`);
  }

  window.floorMeasures = { sizes, type, withoutUnit, unfold, sticksOut };
})();
