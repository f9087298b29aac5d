// The map itself, and everything drawn as outlines, lines and marks.
(function () {
  "use strict";
  const setout = window.setout;
  const PANES = { ground: 390, relief: 395, beds: 400, edges: 410, lines: 420, trees: 440, over: 445, pipes: 450, marks: 610 };

  setout.map = function (id, options) {
    const map = L.map(id, options);
    for (const [name, z] of Object.entries(PANES)) map.createPane(name).style.zIndex = z;
    return map;
  };

  setout.shapes = function (data, look) {
    const raw = setout.bytes(data.points), xy = new Int32Array(raw.buffer), group = L.featureGroup();
    const style = {
      color: look.color, weight: look.weight, opacity: look.opacity, dashArray: look.dashArray || null, pane: look.pane,
      fill: data.closed && look.fill !== "", fillColor: look.fill || null, fillOpacity: look.fillOpacity,
      interactive: !look.canvas, smoothFactor: 0.6, lineJoin: "round", fillRule: "evenodd",
    };
    if (look.canvas) style.renderer = L.canvas({ pane: look.pane, padding: 0.25 });
    let at = 0;
    for (const feature of data.features) {
      const parts = [];
      for (const length of feature.rings) {
        const ring = [];
        for (let i = 0; i < Math.abs(length); i++, at += 2) {
          ring.push(setout.unmercator((data.origin[0] + xy[at]) / 1000, (data.origin[1] + xy[at + 1]) / 1000));
        }
        if (data.closed && length < 0) parts[parts.length - 1].push(ring);
        else parts.push(data.closed ? [ring] : ring);
      }
      const shape = (data.closed ? L.polygon : L.polyline)(parts, style);
      shape.about = feature.about;
      if (!look.canvas) shape.on("click", () => { group.hit = shape; });
      group.addLayer(shape);
    }
    return group;
  };

  // Posts as squares, larger at row ends; from far away the row ends alone.
  setout.PostLayer = setout.TreeLayer.extend({
    _draw: function () {
      const ctx = this._clear(), view = this._view();
      const near = view.perMetre > 1, line = near ? Math.min(4, 1 + 0.1 * view.perMetre) : 0, last = near ? 2 * line : 2;
      ctx.fillStyle = this.options.colour;
      for (const i of this._inView(view, this._bounds.getSize())) {
        const half = (this.columns.value("end", i) ? last : line) / 2;
        if (half) ctx.fillRect(view.ax + view.k * this._x[i] - half, view.ay - view.k * this._y[i] - half, 2 * half, 2 * half);
      }
    },
  });
  setout.posts = (head, options) => new setout.PostLayer(head, options);

  const SVG = "http://www.w3.org/2000/svg";
  setout.svg = function (size, parts) {
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("viewBox", "0 0 24 24");
    svg.setAttribute("width", size);
    svg.setAttribute("height", size);
    svg.setAttribute("aria-hidden", "true");
    for (const [tag, attributes] of parts) {
      const part = document.createElementNS(SVG, tag);
      for (const [key, value] of Object.entries(attributes)) part.setAttribute(key, value);
      svg.appendChild(part);
    }
    return svg;
  };
  // data: [{at: [lat, lon], mark, title, kind, about}]; marks differ by shape, not by colour alone.
  setout.marks = function (data, look) {
    const group = L.featureGroup();
    for (const item of data) {
      const box = document.createElement("span");
      box.appendChild(setout.svg(item.mark === "note" && look.small ? look.small : look.size, setout.MARKS[item.mark]));
      if (look.named) box.appendChild(setout.element("small", item.title));
      const icon = L.divIcon({ html: box, className: "setout-mark " + item.mark, iconSize: [40, 40] });
      const marker = L.marker(item.at, { icon, pane: "marks", keyboard: true, riseOnHover: true });
      marker.on("add", () => {
        const el = marker.getElement();
        el.setAttribute("aria-label", item.title);
        el.title = item.title;
      });
      marker.on("keypress", (e) => { if (e.originalEvent.key === "Enter") marker.fire("click"); });
      marker.on("click", () => {
        if (setout.ruler.on) setout.ruler.add(marker.getLatLng(), item.title);
        else setout.tools.showThing(item.title, item.about, item.kind);
      });
      group.addLayer(marker);
    }
    return group;
  };
})();
