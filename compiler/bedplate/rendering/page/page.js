"use strict";
(() => {
  const body = document.body;
  const all = (selector, inside = document) => [...inside.querySelectorAll(selector)];
  const one = (selector, inside = document) => inside.querySelector(selector);
  const key = body.dataset.sheet + body.dataset.digest;
  let kept = {};
  document.documentElement.classList.add("js");

  // --- what is kept: ticks, notes and choices, under the digest of the graph -------------------------------------
  const load = () => {
    try {
      const saved = localStorage.getItem(key);
      kept = JSON.parse(saved) || {};
      const older = Object.keys(localStorage).some((name) => name.startsWith(body.dataset.sheet) && name !== key);
      one("#changed").hidden = !older || saved !== null;
    } catch {
      one("#not-kept").hidden = false;
    }
  };
  const save = () => {
    try {
      localStorage.setItem(key, JSON.stringify(kept));
      one("#not-kept").hidden = true;
    } catch {
      one("#not-kept").hidden = false;
    }
  };
  const show = () => {
    for (const field of all("[data-keep]")) {
      const value = kept[field.dataset.keep];
      if (field.type === "checkbox") field.checked = value === true;
      else if (field.type === "radio") field.checked = field.value === (value || "script");
      else field.value = value || "";
    }
    for (const note of all("details.note")) note.open = one("textarea", note).value !== "";
  };
  const read = (field) => {
    const value = field.type === "checkbox" ? field.checked : field.value;
    if (value) kept[field.dataset.keep] = value;
    else delete kept[field.dataset.keep];
    save();
    refresh();
  };

  // --- progress --------------------------------------------------------------------------------------------------
  const boxes = (stage) => {
    const scripted = stage.classList.contains("scripted") && body.dataset.way === "script";
    return all(scripted ? ".by-script input[type=checkbox]" : ".tick", stage);
  };
  const refresh = () => {
    const chosen = one("input[name=way]:checked");
    body.dataset.way = chosen ? chosen.value : "hand";
    body.classList.toggle("hide-done", one("#hide-done").checked);
    for (const fold of all("[data-follow]")) if (body.dataset.way === "hand") fold.open = true;
    for (const box of all(".tick")) box.closest(".action").classList.toggle("done", box.checked);
    for (const area of all("textarea[data-keep^='note:']")) {
      const text = one(".note-text", area.closest(".body"));
      text.textContent = area.value ? "Note: " + area.value : "";
      text.hidden = !area.value;
    }
    let next = null;
    for (const stage of all("[data-stage]")) {
      const list = boxes(stage);
      const done = list.filter((box) => box.checked).length;
      next = next || list.find((box) => !box.checked) || null;
      if (!list.length) continue;
      const chip = one(`[data-chip="${stage.dataset.stage}"]`);
      chip.classList.toggle("complete", done === list.length);
      one(`[data-count="${stage.dataset.stage}"]`).textContent = `${done}/${list.length}`;
      one(`[data-record="${stage.dataset.stage}"]`).textContent =
        `${done} of ${list.length}` + (boxes(stage)[0].classList.contains("tick") ? "" : ", by script");
    }
    point(next);
  };
  const point = (box) => {
    const link = one("#next");
    link.hidden = false;
    if (!box) {
      link.textContent = "All is ticked: the record";
      link.href = "#record-title";
      return;
    }
    const action = box.closest(".action");
    link.textContent = action ? "Next: " + one("h3", action).textContent.trim() : "Next: the script";
    link.href = "#" + (action || box.closest("[data-stage]")).id;
  };

  // --- copying ---------------------------------------------------------------------------------------------------
  const copied = async (text) => {
    if (navigator.clipboard && window.isSecureContext) {
      await navigator.clipboard.writeText(text);
      return;
    }
    const area = document.createElement("textarea");
    area.value = text;
    body.append(area);
    area.select();
    const worked = document.execCommand("copy");
    area.remove();
    if (!worked) throw new Error("refused");
  };
  const copy = async (button) => {
    const said = one("#said");
    const text = one("pre", button.parentElement).textContent.replace(/\n$/, "");
    try {
      await copied(text);
      button.textContent = "Copied";
      said.textContent = "Copied";
    } catch {
      button.textContent = "Mark and copy";
      said.textContent = "This browser does not let the page copy. Mark the text and copy it yourself.";
    }
    setTimeout(() => { button.textContent = "Copy"; said.textContent = ""; }, 2500);
  };

  // --- folds, the graph's lines, printing ------------------------------------------------------------------------
  const reveal = () => {
    const target = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
    if (!target) return;
    for (let fold = target.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    target.scrollIntoView();
    const box = one(".tick", target);
    if (box) box.focus({ preventScroll: true });
  };
  const light = (number) => {
    for (const arc of all(".arcs path")) {
      arc.classList.toggle("lit", arc.dataset.giver === number || arc.dataset.taker === number);
    }
  };
  for (const link of all("[data-node]")) {
    for (const name of ["mouseenter", "focus"]) link.addEventListener(name, () => light(link.dataset.node));
    for (const name of ["mouseleave", "blur"]) link.addEventListener(name, () => light(""));
  }
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = all(".action details:not([open]):not(.note)");
    for (const fold of opened) fold.open = true;
  });
  addEventListener("afterprint", () => {
    for (const fold of opened) fold.open = false;
  });

  for (const field of all("[data-keep]")) {
    field.addEventListener(field.type === "text" || field.tagName === "TEXTAREA" ? "input" : "change", () => read(field));
  }
  for (const button of all("button")) button.hidden = false;
  for (const button of all(".copy")) button.addEventListener("click", () => copy(button));
  one("#print").addEventListener("click", () => print());
  one("#clear").addEventListener("click", () => {
    if (!confirm("Clear every tick and note of this sheet?")) return;
    kept = {};
    save();
    show();
    refresh();
  });
  addEventListener("hashchange", reveal);
  load();
  show();
  refresh();
  reveal();
})();
