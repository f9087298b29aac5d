// Measuring on the ground, from point to point; a point close to a tree takes the tree's own place.
(function () {
  "use strict";
  const setout = window.setout, $ = setout.$ || ((id) => document.getElementById(id));

  setout.Measure = class {
    constructor(map, data, trees) {
      this.map = map;
      this.data = data;
      this.trees = trees;
      this.points = [];
      this.names = [];
      this.on = false;
      this.line = L.polyline([], { pane: "marks", color: "#22312e", weight: 2.5, dashArray: "1 6", interactive: false });
      this.casing = L.polyline([], { pane: "marks", color: "#fdfcf8", weight: 6, interactive: false });
      this.dots = L.layerGroup();
      $("measure").addEventListener("click", () => this.toggle());
      $("measure-undo").addEventListener("click", () => { this.points.pop(); this.names.pop(); this._draw(); });
      $("measure-clear").addEventListener("click", () => { this.points = []; this.names = []; this._draw(); });
      $("measure-done").addEventListener("click", () => this.toggle());
    }

    toggle() {
      this.on = !this.on;
      if (this.on) setout.tools.closeCard();
      $("measure").setAttribute("aria-pressed", String(this.on));
      $("measure-bar").hidden = !this.on;
      document.body.classList.toggle("measuring", this.on);
      this.points = [];
      this.names = [];
      for (const layer of [this.casing, this.line, this.dots]) { if (this.on) layer.addTo(this.map); else layer.remove(); }
      this._draw();
    }

    // Where no name is given, a point close to a tree is the tree.
    add(latlng, name) {
      const i = this.trees && !name ? this.trees.nearest(latlng, 12) : -1;
      this.points.push(i >= 0 ? this.trees.latLng(i) : latlng);
      this.names.push(i >= 0 ? this.trees.columns.id(i) : name || "");
      this._draw();
    }

    total() {
      let sum = 0;
      for (let i = 1; i < this.points.length; i++) sum += setout.distance(this.points[i - 1], this.points[i], this.data.earth);
      return sum;
    }

    _draw() {
      this.line.setLatLngs(this.points);
      this.casing.setLatLngs(this.points);
      this.dots.clearLayers();
      for (const p of this.points) {
        L.circleMarker(p, { pane: "marks", radius: 5, color: "#22312e", weight: 2, fillColor: "#fdfcf8", fillOpacity: 1, interactive: false }).addTo(this.dots);
      }
      const n = this.points.length, show = (m) => setout.showLength(m, this.data.units);
      let text = "Tap points to measure between them.", detail = "Horizontal ground distance; near a tree, from the tree.";
      if (n === 1) text = this.names[0] ? "From " + this.names[0] + "." : "From here.";
      if (n > 1) {
        const last = setout.distance(this.points[n - 2], this.points[n - 1], this.data.earth);
        text = show(this.total());
        detail = (n > 2 ? "Last leg " + show(last) + ". " : "") +
          (this.names[n - 2] && this.names[n - 1] ? this.names[n - 2] + " to " + this.names[n - 1] + ". " : "") +
          (n > 2 ? "Closed, the points hold " + setout.showArea(setout.area(this.points, this.data.earth), this.data.units) + ". " : "") + "Horizontal ground distance.";
      }
      $("measure-text").textContent = text;
      $("measure-detail").textContent = detail;
      $("measure-undo").disabled = $("measure-clear").disabled = n === 0;
    }
  };

  // A scale bar of round length, true at the middle of the map.
  setout.scaleBar = function (map, data) {
    const bar = $("scale-bar"), text = $("scale-text"), unit = data.units === "us" ? 0.3048 : 1;
    const update = () => {
      const y = map.getSize().y / 2, a = map.containerPointToLatLng([0, y]), b = map.containerPointToLatLng([100, y]);
      const most = (setout.distance(a, b, data.earth) / 100) * 140 / unit, ten = 10 ** Math.floor(Math.log10(most));
      const round = ten * (most / ten >= 5 ? 5 : most / ten >= 2 ? 2 : 1);
      bar.style.width = ((round / most) * 140).toFixed(1) + "px";
      const far = data.units === "us" ? (round >= 5280 * 5 ? [round / 5280, "mi"] : [round, "ft"]) : round >= 1000 ? [round / 1000, "km"] : [round, "m"];
      text.textContent = Number(far[0].toPrecision(3)).toLocaleString("en-US") + " " + far[1];
    };
    map.on("move zoom resize viewreset", update);
    update();
  };
})();
