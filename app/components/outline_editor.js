// Outlines of tooth sides over a photo, dragged by finger, mouse or keyboard.
//
// Points are in pixels of the full photo. A tooth is six points: toe-tip, middle of the tip edge,
// heel-tip, heel-root, middle of the root edge, toe-root, and a kind: "drawn" is the user's; "found" and
// "followed" (laid anew from the drawn ones) are Python's, which sends them again after every change.
// `rev` says which version a change was made on, so an older one never overwrites it.

const SVG = "http://www.w3.org/2000/svg";
const LOUPE_ZOOM = 3.5;
const editors = new WeakMap();

export default function (component) {
  const root = component.parentElement;
  let editor = editors.get(root);
  if (!editor || !root.contains(editor.frame)) {
    editor = new Editor(root);
    editors.set(root, editor);
  }
  editor.receive(component);
  return () => editor.leave();
}

const middle = (a, b) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
const bend = (a, m, b) => [2 * m[0] - (a[0] + b[0]) / 2, 2 * m[1] - (a[1] + b[1]) / 2];
const makeTooth = (points, kind) => Object.assign(points.map((p) => [...p]), { kind });
const clone = (teeth) => teeth.map((one) => makeTooth(one, one.kind));
const isDrawn = (one) => one.kind === "drawn";
const rounded = (points) => points.map((p) => p.map((v) => Math.round(v * 10) / 10));
const svg = (name, attributes = {}) => {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
};

function curve(points, edge) {
  const [a, m, b] = edge === "tip" ? [points[0], points[1], points[2]] : [points[5], points[4], points[3]];
  const c = bend(a, m, b);
  return `M${a[0]} ${a[1]} Q${c[0]} ${c[1]} ${b[0]} ${b[1]}`;
}

function whole(points) {
  const t = bend(points[0], points[1], points[2]);
  const r = bend(points[3], points[4], points[5]);
  return (
    `M${points[0]} Q${t} ${points[2]} L${points[3]} Q${r} ${points[5]} Z`
  );
}

class Editor {
  constructor(root) {
    this.frame = root.querySelector(".editor");
    this.picture = root.querySelector(".picture");
    this.image = root.querySelector(".photo");
    this.shapes = root.querySelector(".shapes");
    this.handles = root.querySelector(".handles");
    this.loupe = root.querySelector(".loupe");
    this.tools = root.querySelector(".tools");
    this.say = root.querySelector(".say");
    this.rev = null;
    this.teeth = [];
    this.past = [];
    this.chosen = -1;
    this.timer = 0;
    this.resize = new ResizeObserver(() => this.draw());
    this.resize.observe(this.frame);
    this.frame.addEventListener("keydown", (e) => {
      if ((e.ctrlKey || e.metaKey) && e.key.toLowerCase() === "z") {
        e.preventDefault();
        this.undo();
      }
    });
  }

  receive({ data, setStateValue, setTriggerValue }) {
    this.data = data;
    this.setState = setStateValue;
    this.trigger = setTriggerValue;
    this.marks = data.contacts ?? [];
    if (this.image.getAttribute("href") !== data.photo) {
      this.image.setAttribute("href", data.photo);
      this.image.setAttribute("width", data.width);
      this.image.setAttribute("height", data.height);
    }
    if (data.rev !== this.rev) {
      this.rev = data.rev;
      this.teeth = data.teeth.map((one) => makeTooth(one.points, one.kind));
      this.follow = data.follow;
      this.without = data.without;
      this.past = [];
      this.chosen = this.teeth.length === 1 ? 0 : -1;
    } else if (data.complete && !this.held && this.isAnswer(data)) {
      this.takeOver(data.teeth.map((one) => makeTooth(one.points, one.kind)));
    }
    this.makeTools();
    this.draw();
  }

  // Whether Python has answered to the outlines as they are now, and not to earlier ones.
  isAnswer(data) {
    const told = [data.teeth.filter(isDrawn).map((one) => rounded(one.points)), data.follow, rounded(data.without)];
    return JSON.stringify(told) === JSON.stringify([this.drawn(), this.follow, rounded(this.without)]);
  }

  // Python's order and its own teeth; the tooth in work stays the one in work.
  takeOver(teeth) {
    if (this.chosen >= 0) {
      const here = this.centre(this.teeth[this.chosen]);
      const away = teeth.map((one) => Math.hypot(this.centre(one)[0] - here[0], this.centre(one)[1] - here[1]));
      this.chosen = away.indexOf(Math.min(...away));
    }
    this.teeth = teeth;
  }

  drawn() {
    return this.teeth.filter(isDrawn).map(rounded);
  }

  leave() {
    window.clearTimeout(this.timer);
  }

  // --- what is shown -----------------------------------------------------------------------------

  view() {
    const { width, height } = this.data;
    const ratio = this.frame.clientWidth < 600 ? 1 : 3 / 2;
    if (this.chosen < 0) return [0, 0, width, height];
    const xs = this.shownTooth().map((p) => p[0]);
    const ys = this.shownTooth().map((p) => p[1]);
    const [cx, cy] = [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
    const wide = Math.max(Math.max(...xs) - Math.min(...xs), (Math.max(...ys) - Math.min(...ys)) * ratio, 40);
    const w = Math.min(1.6 * wide, width, height * ratio);
    const h = w / ratio;
    const start = (c, size, whole) => Math.min(Math.max(c - size / 2, 0), whole - size);
    return [start(cx, w, width), start(cy, h, height), w, h];
  }

  // The view stays still while a point is dragged.
  shownTooth() {
    return this.held ?? this.teeth[this.chosen];
  }

  draw() {
    if (!this.data || !this.frame.clientWidth) return;
    const [x, y, w, h] = (this.box = this.view());
    this.scale = this.frame.clientWidth / w;
    this.picture.setAttribute("viewBox", `${x} ${y} ${w} ${h}`);
    this.picture.style.height = this.handles.style.height = `${Math.round(h * this.scale)}px`;
    this.shapes.replaceChildren();
    this.teeth.forEach((tooth, i) => this.drawTooth(tooth, i));
    this.drawMarks();
    this.placeHandles();
  }

  drawTooth(tooth, i) {
    const px = 1 / this.scale;
    const group = svg("g", { class: `tooth ${tooth.kind}${i === this.chosen ? " chosen" : ""}` });
    const followed = tooth.kind === "followed";
    const [tip, root] = followed ? [`${2 * px} ${6 * px}`, `${2 * px} ${6 * px}`] : ["none", `${8 * px} ${6 * px}`];
    const fill = svg("path", { d: whole(tooth), class: "fill" });
    fill.addEventListener("click", () => this.choose(i));
    group.append(fill);
    for (const kind of ["under", "line"]) {
      const width = (kind === "under" ? 5 : 2.5) * px;
      group.append(
        svg("path", {
          d: curve(tooth, "tip"), class: kind, "stroke-width": width,
          "stroke-dasharray": kind === "line" ? tip : "none",
        }),
        svg("path", {
          d: curve(tooth, "root"), class: `${kind} root`, "stroke-width": width,
          "stroke-dasharray": kind === "line" ? root : "none",
        }),
        svg("path", { d: `M${tooth[0]} L${tooth[5]} M${tooth[2]} L${tooth[3]}`, class: kind, "stroke-width": width }),
      );
    }
    const size = (i === this.chosen ? 15 : 13) * px;
    const toe = middle(tooth[0], tooth[5]);
    const heel = middle(tooth[2], tooth[3]);
    for (const [text, at, other] of [[this.data.words.toe, toe, heel], [this.data.words.heel, heel, toe]]) {
      const away = [at[0] - other[0], at[1] - other[1]];
      const length = Math.hypot(...away) || 1;
      const label = svg("text", {
        x: at[0] + (away[0] / length) * 30 * px, y: this.inView(at[1] + (away[1] / length) * 22 * px + size / 3, size),
        "font-size": size, "stroke-width": 3.5 * px,
      });
      label.textContent = this.chosen < 0 && text === this.data.words.toe ? `${i + 1} ${text}` : text;
      group.append(label);
    }
    this.shapes.append(group);
  }

  // A word below or above a tooth at the picture's edge stays in the picture.
  inView(y, size) {
    const [, top, , high] = this.box;
    return Math.min(Math.max(y, top + size), top + high - 0.4 * size);
  }

  drawMarks() {
    const px = 1 / this.scale;
    for (const polygon of this.marks) {
      const d = "M" + polygon.map((p) => `${p[0]} ${p[1]}`).join("L") + "Z";
      this.shapes.append(
        svg("path", { d, class: "mark under", "stroke-width": 4 * px }),
        svg("path", { d, class: "mark line", "stroke-width": 2 * px, "stroke-dasharray": `${3 * px} ${2 * px}` }),
      );
    }
  }

  placeHandles() {
    const tooth = this.teeth[this.chosen];
    const wanted = tooth ? 7 : 0;
    while (this.handles.children.length > wanted) this.handles.lastChild.remove();
    while (this.handles.children.length < wanted) this.handles.append(this.makeHandle(this.handles.children.length));
    if (!tooth) return;
    [...this.handles.children].forEach((handle, i) => {
      const p = this.place(tooth, i);
      handle.style.left = `${(p[0] - this.box[0]) * this.scale}px`;
      handle.style.top = `${(p[1] - this.box[1]) * this.scale}px`;
      handle.setAttribute(
        "aria-label",
        this.data.words.handle
          .replace("{tooth}", this.chosen + 1).replace("{point}", this.data.words.points[i])
          .replace("{x}", Math.round(p[0])).replace("{y}", Math.round(p[1])),
      );
    });
  }

  // The handle for the whole tooth stands below the root, clear of the mark, or above the tip.
  place(tooth, i) {
    if (i < 6) return tooth[i];
    const [tip, root] = [tooth[1], tooth[4]];
    const length = Math.hypot(root[0] - tip[0], root[1] - tip[1]) || 1;
    const step = [(root[0] - tip[0]) / length, (root[1] - tip[1]) / length].map((v) => (v * 46) / this.scale);
    const below = [root[0] + step[0], root[1] + step[1]];
    const edge = 22 / this.scale;
    const [x, y, w, h] = this.box;
    const seen = below[0] > x + edge && below[0] < x + w - edge && below[1] > y + edge && below[1] < y + h - edge;
    return seen ? below : [tip[0] - step[0], tip[1] - step[1]];
  }

  centre(tooth) {
    return [0, 1].map((k) => tooth.reduce((sum, p) => sum + p[k], 0) / tooth.length);
  }

  // --- dragging ----------------------------------------------------------------------------------

  makeHandle(i) {
    const handle = document.createElement("button");
    handle.type = "button";
    handle.className = i === 6 ? "handle all" : i % 3 === 1 ? "handle mid" : "handle";
    handle.dataset.point = i;
    let last = null;
    handle.addEventListener("touchstart", (e) => e.preventDefault(), { passive: false });
    handle.addEventListener("pointerdown", (e) => {
      if (e.button !== 0) return;
      e.preventDefault();
      handle.focus({ preventScroll: true });
      handle.setPointerCapture(e.pointerId);
      this.remember();
      this.held = this.teeth[this.chosen].map((p) => [...p]);
      last = [e.clientX, e.clientY];
      this.magnify(i);
    });
    handle.addEventListener("pointermove", (e) => {
      if (!last) return;
      this.shift(i, (e.clientX - last[0]) / this.scale, (e.clientY - last[1]) / this.scale);
      last = [e.clientX, e.clientY];
      this.magnify(i);
    });
    const end = () => {
      if (!last) return;
      last = null;
      this.held = null;
      this.loupe.hidden = true;
      this.draw();
      this.send(0);
    };
    handle.addEventListener("pointerup", end);
    handle.addEventListener("pointercancel", end);
    handle.addEventListener("keydown", (e) => {
      const step = (e.shiftKey ? 10 : 2) / this.scale;
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
      if (!way) return;
      e.preventDefault();
      if (!e.repeat) this.remember();
      this.shift(i, way[0] * step, way[1] * step);
      this.send(400);
    });
    return handle;
  }

  // A tooth that is corrected is the user's from then on; the first one makes the others follow.
  takeInHand(one) {
    if (isDrawn(one)) return;
    if (!this.teeth.some(isDrawn)) this.follow = true;
    one.kind = "drawn";
  }

  shift(i, dx, dy) {
    const tooth = this.teeth[this.chosen];
    this.takeInHand(tooth);
    const move = (k) => {
      tooth[k] = [this.within(tooth[k][0] + dx, this.data.width), this.within(tooth[k][1] + dy, this.data.height)];
    };
    const xs = tooth.map((p) => p[0] + dx);
    const ys = tooth.map((p) => p[1] + dy);
    if (i === 6) {
      const inside = Math.min(...xs) >= 0 && Math.max(...xs) <= this.data.width - 1 &&
        Math.min(...ys) >= 0 && Math.max(...ys) <= this.data.height - 1;
      if (inside) tooth.forEach((_, k) => move(k));
    } else {
      move(i);
      // A corner takes the middle of its long edge half the way along, so the bend stays.
      const mid = { 0: 1, 2: 1, 3: 4, 5: 4 }[i];
      if (mid !== undefined) tooth[mid] = [tooth[mid][0] + dx / 2, tooth[mid][1] + dy / 2];
    }
    this.draw();
  }

  within(value, size) {
    return Math.min(Math.max(value, 0), size - 1);
  }

  magnify(i) {
    const tooth = this.teeth[this.chosen];
    const p = this.place(tooth, i);
    const size = this.loupe.clientWidth || 120;
    const w = size / (this.scale * LOUPE_ZOOM);
    const at = [(p[0] - this.box[0]) / this.box[2], (p[1] - this.box[1]) / this.box[3]];
    this.loupe.hidden = i === 6;
    this.loupe.style.left = at[0] > 0.5 ? "8px" : "auto";
    this.loupe.style.right = at[0] > 0.5 ? "auto" : "8px";
    this.loupe.style.top = at[1] > 0.5 ? "8px" : "auto";
    this.loupe.style.bottom = at[1] > 0.5 ? "auto" : "8px";
    const glass = this.loupe.firstElementChild;
    glass.setAttribute("viewBox", `${p[0] - w / 2} ${p[1] - w / 2} ${w} ${w}`);
    if (!glass.firstChild || glass.firstChild.getAttribute("href") !== this.data.photo) {
      glass.replaceChildren(this.image.cloneNode(), svg("path"), svg("path"));
    }
    const line = 1.5 / (this.scale * LOUPE_ZOOM);
    const [outline, cross] = [glass.children[1], glass.children[2]];
    outline.setAttribute("d", whole(tooth));
    outline.setAttribute("class", "glass-line");
    outline.setAttribute("stroke-width", line * 1.5);
    cross.setAttribute("d", `M${p[0] - w / 2} ${p[1]} h${w} M${p[0]} ${p[1] - w / 2} v${w}`);
    cross.setAttribute("class", "glass-cross");
    cross.setAttribute("stroke-width", line);
  }

  // --- tools -------------------------------------------------------------------------------------

  makeTools() {
    const words = this.data.words;
    const many = this.teeth.length > 1;
    const list = [
      ...this.teeth.map((_, i) => [words.tooth.replace("{tooth}", i + 1), () => this.choose(i), true, this.chosen === i]),
      [words.photo, () => this.choose(-1), this.teeth.length > 0, this.chosen < 0],
      [words.undo, () => this.undo(), this.past.length > 0],
      [words.add, () => this.add(), this.teeth.length < 12],
      [words.remove, () => this.remove(), this.chosen >= 0 && many],
      [words.again, () => this.again(), true],
    ];
    this.tools.replaceChildren(
      ...list.map(([text, act, enabled, pressed]) => {
        const tool = document.createElement("button");
        tool.type = "button";
        tool.textContent = text;
        tool.disabled = !enabled;
        if (pressed !== undefined) tool.setAttribute("aria-pressed", String(pressed));
        tool.addEventListener("click", act);
        return tool;
      }),
    );
    const some = this.teeth.some((one) => one.kind === "followed");
    const kind = this.chosen < 0 ? "" : this.teeth[this.chosen].kind;
    this.say.textContent = this.chosen < 0 ? (some ? words.choose_followed : words.choose)
      : kind === "followed" ? words.drag_followed
      : kind === "found" && many ? words.drag_found : words.drag;
  }

  choose(i) {
    this.chosen = i;
    this.makeTools();
    this.draw();
  }

  remember() {
    this.past.push([clone(this.teeth), this.follow, [...this.without]]);
    if (this.past.length > 60) this.past.shift();
  }

  undo() {
    if (!this.past.length) return;
    [this.teeth, this.follow, this.without] = this.past.pop();
    this.chosen = Math.min(this.chosen, this.teeth.length - 1);
    this.draw();
    this.send(0);
  }

  add() {
    this.remember();
    const { width, height, toeLeft } = this.data;
    const from = this.teeth[this.chosen >= 0 ? this.chosen : this.teeth.length - 1];
    let points;
    if (from) {
      const before = this.teeth[this.teeth.indexOf(from) - 1] ?? this.teeth[this.teeth.indexOf(from) + 1];
      const here = this.centre(from);
      const there = before ? this.centre(before) : null;
      const step = there ? [here[0] - there[0], here[1] - there[1]]
        : [1.6 * (from[4][0] - from[1][0]), 1.6 * (from[4][1] - from[1][1])];
      points = from.map((p) => [this.within(p[0] + step[0], width), this.within(p[1] + step[1], height)]);
    } else {
      const [w, h] = [width * 0.5, Math.min(height * 0.3, width * 0.2)];
      const [x, y] = [(width - w) / 2, (height - h) / 2];
      points = [[x, y], [x + w / 2, y], [x + w, y], [x + w, y + h], [x + w / 2, y + h], [x, y + h]];
      if (!toeLeft) points = points.map((p) => [width - p[0], p[1]]);
    }
    this.keepAll();
    this.teeth.push(makeTooth(points, "drawn"));
    this.choose(this.teeth.length - 1);
    this.send(0);
  }

  // Where nothing was corrected yet, the teeth that were found are taken as they stand.
  keepAll() {
    if (this.teeth.some(isDrawn)) return;
    for (const one of this.teeth) one.kind = "drawn";
    this.follow = false;
  }

  remove() {
    this.remember();
    const [gone] = this.teeth.splice(this.chosen, 1);
    this.keepAll();
    if (this.follow) this.without = [...this.without, this.centre(gone)];
    this.choose(Math.min(this.chosen, this.teeth.length - 1));
    this.send(0);
  }

  again() {
    this.trigger("again", Date.now());
  }

  send(delay_ms) {
    window.clearTimeout(this.timer);
    this.marks = [];
    this.makeTools();
    this.draw();
    this.timer = window.setTimeout(() => {
      this.setState("outline", {
        rev: this.rev, teeth: this.drawn(), follow: this.follow, without: rounded(this.without),
      });
    }, delay_ms);
  }
}
