// The page as paper has it: what the screen shows, to the width of the sheet, with its legend below.
(function () {
  "use strict";
  const setout = window.setout, $ = (id) => document.getElementById(id);

  setout.Print = class {
    constructor(map, data, layers) {
      this.map = map;
      this.home = L.latLngBounds(data.box);
      this.layers = layers;
      window.addEventListener("beforeprint", () => this.before());
      window.addEventListener("afterprint", () => this.after());
      $("print").addEventListener("click", () => window.print());
    }

    // Before the sheet is laid out: size of the map in its final measure, finer canvases, the legend.
    before() {
      if (this.was) return;
      const seen = this.map.getBounds(), whole = seen.contains(this.home);
      this.was = { centre: this.map.getCenter(), zoom: this.map.getZoom(), snap: this.map.options.zoomSnap };
      this._legend();
      document.body.classList.add("printing");
      this.map.invalidateSize({ animate: false, pan: false });
      setout.fine = 3;
      this.map.options.zoomSnap = 0;
      this.map.fitBounds(whole ? this.home : seen, { animate: false, padding: whole ? [14, 14] : [0, 0] });
      this._redraw();
    }

    after() {
      if (!this.was) return;
      document.body.classList.remove("printing");
      setout.fine = 0;
      this.map.options.zoomSnap = this.was.snap;
      this.map.invalidateSize({ animate: false, pan: false });
      this.map.setView(this.was.centre, this.was.zoom, { animate: false });
      this.was = null;
      this._redraw();
    }

    _redraw() {
      for (const layer of Object.values(this.layers)) if (layer instanceof setout.CanvasLayer) layer.redraw();
    }

    _legend() {
      const legend = $("print-legend"), title = $("colour-by").selectedOptions[0];
      legend.replaceChildren();
      const chapter = (text) => { const section = setout.element("section"); section.append(setout.element("h2", text)); legend.append(section); return section; };
      if (this.layers.trees && this.map.hasLayer(this.layers.trees) && title) {
        const section = chapter("Trees by " + title.textContent.toLowerCase());
        section.append($("tree-legend").cloneNode(true));
        section.lastChild.removeAttribute("id");
        if (!$("attention").hidden) { const a = $("attention").cloneNode(true); a.removeAttribute("id"); section.append(a); }
      }
      const list = setout.element("ul");
      for (const label of document.querySelectorAll("label.layer")) {
        const box = label.querySelector("input");
        if (!box.checked || box.dataset.layer === "trees") continue;
        const item = setout.element("li");
        item.append(label.querySelector("svg").cloneNode(true), label.querySelector("span").cloneNode(true));
        list.append(item);
      }
      chapter("Drawn").append(list);
      const zones = $("zone-legend"), pipes = ["laterals", "mains"].some((key) => this.layers[key] && this.map.hasLayer(this.layers[key]));
      if (zones && pipes) { const copy = zones.cloneNode(true); copy.removeAttribute("id"); copy.className = "zones"; chapter("Zones").append(copy); }
      const words = setout.tools.view ? setout.tools.view.words() : [];
      $("print-shown").textContent = words.length ? "Shown: " + words.join(", ") + "." : "";
    }
  };
})();
