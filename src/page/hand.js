// Follows pointer and keyboard, sends what is asked for, and swaps in what the engine drew. It computes no number that
// is reported: a place under the pointer becomes metres, and that is all.
"use strict";
(() => {
  const STEP_M = 10, FINE_M = 1, LEAST_M = 5, SETTLE_MS = 700;
  const by = (id) => document.getElementById(id);
  const board = by("board");
  const made = (id) => {
    const box = document.createElement("div");
    box.id = id;
    box.hidden = true;
    box.setAttribute("aria-hidden", "true");
    return document.body.appendChild(box);
  };
  const cross = made("cross"), frame = made("frame");

  let version = Number(document.body.dataset.version);
  let mode = "cut";
  let drag = null; // a stretch under the pointer
  let cursor = null; // { id, at, from }: on a strip, by keyboard
  let pull = null; // an end moved by keyboard, not kept yet
  let behind = false; // news came while something was under way

  // ---- sending and showing

  const trouble = (lines) => {
    by("trouble").hidden = lines.length === 0;
    by("trouble").textContent = lines.join(" ");
  };

  const ask = async (path, body, method = "POST") => {
    const json = body !== undefined && !(body instanceof Blob);
    try {
      const response = await fetch(path, {
        method,
        headers: json ? { "content-type": "application/json" } : {},
        body: json ? JSON.stringify(body) : body,
      });
      if (response.status === 204) return null;
      const kind = response.headers.get("content-type") || "";
      const told = kind.includes("json") ? await response.json() : { faults: [await response.text()] };
      if (response.ok) return told;
      trouble(told.faults);
    } catch {
      trouble(["stillair does not answer. Is it still running?"]);
    }
    return null;
  };

  const show = (told) => {
    const focused = document.activeElement && document.activeElement.id;
    const shut = [...document.querySelectorAll("details[id]:not([open])")].map((one) => one.id);
    const half = [...document.querySelectorAll("fieldset input")].map((one) => [one.id, one.value]);
    for (const [name, html] of Object.entries(told.parts)) by(name).innerHTML = html;
    for (const [id, value] of half) if (by(id)) by(id).value = value;
    for (const id of shut) if (by(id)) by(id).open = false;
    if (focused && by(focused) !== document.activeElement) by(focused)?.focus({ preventScroll: true });
    document.body.classList.toggle("trying", told.tried);
    by("said").textContent = told.said;
    if (!told.tried) version = Math.max(version, told.version);
  };

  const refresh = async () => {
    if (drag || pull) return void (behind = true);
    behind = false;
    const told = await ask("/now", undefined, "GET");
    if (told && !drag && !pull) show(told);
  };

  // One try is under way at most, and the last one wins.
  let wanted = null, trying = false, round = 0;
  const attempt = async (body) => {
    wanted = body;
    if (trying) return;
    trying = true;
    while (wanted) {
      const [body, started] = [wanted, round];
      wanted = null;
      const told = await ask("/try", body);
      if (told && started === round) {
        trouble([]);
        show(told);
      }
    }
    trying = false;
  };
  const noMoreTries = () => {
    wanted = null;
    round += 1;
  };

  const keep = async (path, body, method) => {
    noMoreTries();
    trouble([]);
    const told = await ask(path, body, method);
    if (told) show(told);
    else await refresh();
    if (behind) await refresh();
    return told;
  };

  // ---- places

  const lengthM = () => Number(board.querySelector(".lines").dataset.length);
  const laneOf = (line) => line.querySelector(".lane").getBoundingClientRect();
  const within = (m) => Math.min(Math.max(m, 0), lengthM());
  const metre = (x, lane) => within(((x - lane.left) / lane.width) * lengthM());
  const startOf = (line) => (line.dataset.start === undefined ? null : Number(line.dataset.start));

  const read = (line, m) => {
    const lane = laneOf(line);
    cross.hidden = false;
    cross.style.left = `${lane.left + scrollX + (m / lengthM()) * lane.width}px`;
    const all = line.closest(".lines").getBoundingClientRect();
    cross.style.top = `${all.top + scrollY}px`;
    cross.style.height = `${all.height}px`;
    const edges = (line.dataset.edges || "").split(" ").map(Number);
    const piece = edges.findIndex((edge, at) => edge <= m && m <= edges[at + 1]);
    const said = piece < 0 ? `${Math.round(m)} m` : line.dataset.said.split("|")[piece];
    by("reading").textContent = line.dataset.name ? `Pass ${line.dataset.name}, ${said}` : `All passes, ${said}`;
  };

  const enframe = (line, from, to) => {
    const lane = laneOf(line);
    const at = (m) => (m / lengthM()) * lane.width;
    frame.hidden = false;
    frame.style.left = `${lane.left + scrollX + at(Math.min(from, to))}px`;
    frame.style.width = `${at(Math.abs(to - from))}px`;
    frame.style.top = `${lane.top + scrollY}px`;
    frame.style.height = `${lane.height}px`;
  };

  addEventListener("resize", () => {
    cross.hidden = frame.hidden = true;
  });

  const setMode = (next) => {
    mode = next;
    for (const one of ["cut", "window"]) by(`mode-${one}`).setAttribute("aria-pressed", String(one === next));
  };
  const marking = (turned) => (turned ? (mode === "cut" ? "window" : "cut") : mode);

  const stretch = ({ kind, start, from, to }) => {
    const body = { do: kind, start_s: start, from_m: Math.min(from, to), to_m: Math.max(from, to) };
    return kind === "cut" ? { ...body, reason: by("reason").value || null } : body;
  };
  const ends = ({ list, place, from, to }) => ({ do: "ends", list, place, from_m: from, to_m: to });
  const endOf = (end) => ({
    id: end.id,
    list: end.dataset.list,
    place: Number(end.dataset.place),
    end: end.dataset.end,
    from: Number(end.dataset.from),
    to: Number(end.dataset.to),
  });

  const giveUp = () => {
    const open = drag || pull;
    drag = pull = null;
    clearTimeout(settling);
    frame.hidden = true;
    if (cursor) cursor.from = null;
    noMoreTries();
    if (open || document.body.classList.contains("trying")) refresh();
  };

  // ---- pointer

  board.addEventListener("pointerdown", (event) => {
    const line = event.target.closest(".line");
    const lane = event.target.closest(".lane");
    if (!line || !lane || event.button !== 0) return;
    const at = metre(event.clientX, laneOf(line));
    const end = event.target.closest(".end");
    drag = end
      ? { ...endOf(end), line: line.id, moved: false }
      : { kind: marking(event.shiftKey), start: startOf(line), from: at, to: at, line: line.id, moved: false };
    board.setPointerCapture(event.pointerId);
    (end || line).focus({ preventScroll: true });
    event.preventDefault();
  });

  board.addEventListener("pointermove", (event) => {
    const line = drag ? by(drag.line) : event.target.closest(".line");
    if (!line) return;
    const at = metre(event.clientX, laneOf(line));
    read(line, at);
    if (!drag) return;
    drag[drag.end || "to"] = at;
    drag.moved ||= drag.list !== undefined || Math.abs(drag.to - drag.from) >= LEAST_M;
    if (!drag.moved) return;
    enframe(line, drag.from, drag.to);
    if (Math.abs(drag.to - drag.from) >= LEAST_M) attempt(drag.list ? ends(drag) : stretch(drag));
  });

  board.addEventListener("pointerup", async () => {
    if (!drag) return;
    const done = drag;
    drag = null;
    frame.hidden = true;
    if (!done.moved) return;
    if (Math.abs(done.to - done.from) < LEAST_M) return void giveUp();
    if (await keep("/change", done.list ? ends(done) : stretch(done))) if (done.kind === "cut") by("reason").value = "";
  });
  board.addEventListener("pointercancel", giveUp);
  board.addEventListener("pointerleave", () => {
    if (!drag && !cursor) cross.hidden = true;
  });

  // ---- keyboard

  const arrow = (event) => {
    const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    return way && way * (event.shiftKey ? FINE_M : STEP_M);
  };

  let settling = 0;
  const settle = () => {
    clearTimeout(settling);
    if (!pull) return;
    const done = pull;
    pull = null;
    frame.hidden = true;
    keep("/change", ends(done));
  };

  const onEnd = (event, end) => {
    const by_m = arrow(event);
    if (by_m) {
      pull = pull && pull.id === end.id ? pull : endOf(end);
      pull[pull.end] = within(Math.round(pull[pull.end]) + by_m);
      attempt(ends(pull));
      clearTimeout(settling);
      settling = setTimeout(settle, SETTLE_MS);
    } else if (event.key === "Enter") settle();
    else if (event.key === "Delete" || event.key === "Backspace") {
      pull = null;
      clearTimeout(settling);
      const { list, place } = endOf(end);
      const line = end.closest(".line").id;
      keep("/change", { do: "remove", list, place }).then(() => by(line)?.focus());
    } else return;
    event.preventDefault();
  };

  const onLine = (event, line) => {
    if (!cursor || cursor.id !== line.id) cursor = { id: line.id, at: 0, from: null };
    const by_m = arrow(event);
    const mark = () => ({ kind: marking(false), start: startOf(line), from: cursor.from, to: cursor.at });
    if (by_m || event.key === "Home" || event.key === "End") {
      cursor.at = by_m ? within(cursor.at + by_m) : event.key === "Home" ? 0 : lengthM();
      read(line, cursor.at);
      if (cursor.from === null) by("said").textContent = by("reading").textContent;
      else {
        enframe(line, cursor.from, cursor.at);
        if (Math.abs(cursor.at - cursor.from) >= LEAST_M) attempt(stretch(mark()));
      }
    } else if (event.key === "Enter" && cursor.from === null) {
      cursor.from = cursor.at;
      by("said").textContent = `A mark starts at ${Math.round(cursor.at)} m.`;
    } else if (event.key === "Enter") {
      const done = mark();
      cursor.from = null;
      frame.hidden = true;
      if (Math.abs(done.to - done.from) >= LEAST_M) keep("/change", stretch(done));
    } else return;
    event.preventDefault();
  };

  document.addEventListener("keydown", (event) => {
    const typing = event.target.matches("input");
    if (event.key === "Escape") return giveUp();
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z" && !typing) {
      event.preventDefault();
      return void keep(event.shiftKey ? "/redo" : "/undo");
    }
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const end = event.target.closest(".end");
    if (end) return onEnd(event, end);
    if (event.target.classList.contains("line")) onLine(event, event.target);
  });

  // ---- buttons and fields

  const leaveOut = async (start_s) => {
    const reason = by("reason");
    if (!reason.value.trim()) {
      trouble(["Say first why it is left out: the words go into test.toml."]);
      return reason.focus();
    }
    if (await keep("/change", { do: "leave-out", start_s, reason: reason.value })) reason.value = "";
  };

  const add = async (fieldset) => {
    const boxes = [...fieldset.querySelectorAll("input")];
    const typed = Object.fromEntries(boxes.map((one) => [one.name, one.value]));
    if (!(await keep("/change", { do: fieldset.dataset.do, ...typed }))) return;
    for (const { id } of boxes) if (by(id)) by(id).value = "";
  };

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    const data = button.dataset;
    if (button.id.startsWith("mode-")) setMode(button.id.slice("mode-".length));
    else if (data.post) {
      const drops = data.post === "/start-over" && !by("write").disabled;
      if (!drops || confirm("Drop what is tried and read the folder again?")) keep(data.post);
    } else if (data.exclude) keep("/change", { do: "remove", list: "excludes", place: Number(data.exclude) });
    else if (data.remove) keep("/change", { do: "remove", list: data.remove, place: Number(data.place) });
    else if (data.leave) leaveOut(Number(data.leave));
    else if (button.closest("fieldset")) add(button.closest("fieldset"));
  });

  const field = (event) => {
    const name = event.target.dataset && event.target.dataset.field;
    return name && event.target.value !== "" ? { do: "set", field: name, value: event.target.value } : null;
  };
  document.addEventListener("input", (event) => {
    const body = field(event);
    if (body) attempt(body);
  });
  document.addEventListener("change", (event) => {
    const body = field(event);
    if (body) keep("/change", body);
    else if (event.target.dataset && event.target.dataset.field) refresh();
  });

  // ---- files and news

  const files = (event) => event.dataTransfer && [...event.dataTransfer.types].includes("Files");
  document.addEventListener("dragover", (event) => {
    if (!files(event)) return;
    event.preventDefault();
    by("drop").hidden = false;
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) by("drop").hidden = true;
  });
  document.addEventListener("drop", async (event) => {
    if (!files(event)) return;
    event.preventDefault();
    by("drop").hidden = true;
    for (const file of event.dataTransfer.files) {
      if (!(await keep(`/drop/${encodeURIComponent(file.name)}`, file, "PUT"))) break;
    }
  });

  const news = new EventSource("/events");
  news.addEventListener("version", (event) => {
    if (by("trouble").dataset.lost) trouble([]);
    delete by("trouble").dataset.lost;
    if (Number(event.data) > version) refresh();
  });
  news.addEventListener("error", () => {
    by("trouble").dataset.lost = "yes";
    trouble(["stillair does not answer. Is it still running?"]);
  });
})();
