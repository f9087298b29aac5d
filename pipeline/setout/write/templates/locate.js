// Where a crew stands: the nearest tree, and the way to it or to the tree they chose.
(function () {
  "use strict";
  const setout = window.setout, $ = (id) => document.getElementById(id);
  const FAR = 3000; // metres from the site's middle beyond which the map stays where it is
  const WHY = {
    1: "The position was refused. Allow it for this file in the browser's settings, or take the GPX file of the packet to a handheld receiver.",
    2: "No position can be had here: step into the open, and see that the device's location is switched on.",
    3: "No position yet: step into the open and wait a little.",
  };

  setout.Locate = class {
    constructor(map, data, trees) {
      this.map = map;
      this.data = data;
      this.trees = trees;
      this.on = false;
      this.target = -1;
      this.round = L.polygon([], { pane: "marks", color: "#0f5f5a", weight: 1.5, fillColor: "#0f5f5a", fillOpacity: 0.12, interactive: false });
      this.way = L.polyline([], { pane: "marks", color: "#22312e", weight: 2.5, dashArray: "2 7", interactive: false });
      this.dot = L.circleMarker([0, 0], { pane: "marks", radius: 8, color: "#fdfcf8", weight: 3, fillColor: "#0f5f5a", fillOpacity: 1, interactive: false });
      $("locate").addEventListener("click", () => (this.on ? this.stop() : this.start()));
      $("locate-done").addEventListener("click", () => this.stop());
      $("locate-centre").addEventListener("click", () => { if (this.at) map.setView(this.at, Math.max(map.getZoom(), 20), { animate: false }); });
      $("locate-free").addEventListener("click", () => { this.target = -1; this._tell(); });
    }

    guide(i) { this.target = i; if (this.on) this._tell(); else this.start(); if (window.innerWidth < 760) setout.tools.closeCard(); }

    start() {
      this.on = true;
      this._show();
      if (!navigator.geolocation) { this._say("This browser gives no position.", "Take the GPX file of the packet to a handheld receiver."); return; }
      this._say("Looking for your position ...", "");
      this.watch = navigator.geolocation.watchPosition(
        (p) => this.set(L.latLng(p.coords.latitude, p.coords.longitude), p.coords.accuracy),
        (e) => { if (!this.at || e.code === 1) this._say("No position.", WHY[e.code] || e.message); },
        { enableHighAccuracy: true, maximumAge: 1000, timeout: 30000 });
    }

    stop() {
      if (this.watch !== undefined) navigator.geolocation.clearWatch(this.watch);
      this.watch = this.at = undefined;
      this.on = false;
      this.target = -1;
      for (const layer of [this.round, this.way, this.dot]) layer.remove();
      this._show();
    }

    _show() {
      $("locate").setAttribute("aria-pressed", String(this.on));
      $("locate-bar").hidden = !this.on;
      $("locate-arrow").style.visibility = "hidden";
    }

    // A position [deg] and how good it is [m, at 95 %, as browsers give it].
    set(at, accuracy) {
      if (!this.on) return;
      const first = !this.at, m = setout.metresPerDegree(at.lat, this.data.earth);
      this.at = at;
      this.accuracy = accuracy;
      const ring = [];
      for (let k = 0; k < 48; k++) {
        const a = (k * Math.PI) / 24;
        ring.push([at.lat + (accuracy * Math.cos(a)) / m.lat, at.lng + (accuracy * Math.sin(a)) / m.lon]);
      }
      this.round.setLatLngs(ring).addTo(this.map);
      this.way.addTo(this.map);
      this.dot.setLatLng(at).addTo(this.map);
      this.home = L.latLngBounds(this.data.box).getCenter();
      if (first && setout.distance(at, this.home, this.data.earth) < FAR) this.map.setView(at, Math.max(this.map.getZoom(), 20), { animate: false });
      this._tell();
    }

    nearest() {
      const t = this.trees;
      if (!t || !t.columns) return -1;
      let best = -1, least = Infinity;
      const p = L.Projection.SphericalMercator.project(this.at), x = p.x * 1000 - t.head.origin[0], y = p.y * 1000 - t.head.origin[1];
      for (let i = 0; i < t.n; i++) {
        if (!t.shown(i)) continue;
        const d = (t._x[i] - x) ** 2 + (t._y[i] - y) ** 2;
        if (d < least) { least = d; best = i; }
      }
      return best;
    }

    _tell() {
      if (!this.at) return;
      const near = this.nearest(), to = this.target >= 0 ? this.target : near, units = this.data.units;
      const there = to >= 0 ? this.trees.latLng(to) : this.home, far = setout.distance(this.at, there, this.data.earth);
      const bearing = setout.bearing(this.at, there, this.data.earth), name = to >= 0 ? this.trees.columns.id(to) : "the site";
      this.way.setLatLngs([this.at, there]);
      $("locate-arrow").style.visibility = "visible";
      $("locate-arrow").style.transform = "rotate(" + bearing.toFixed(1) + "deg)";
      const said = setout.showLength(far, units, far < 300 ? 1 : 0) + " " + setout.quadrant(bearing);
      const parts = ["Bearing " + bearing.toFixed(0) + "\u00b0 from true north. Position good to " + setout.showLength(this.accuracy, units, 0) + "."];
      if (this.target >= 0 && near >= 0 && near !== to) {
        parts.push("Nearest tree: " + this.trees.columns.id(near) + ", " + setout.showLength(setout.distance(this.at, this.trees.latLng(near), this.data.earth), units, 1) + ".");
      }
      const apart = near >= 0 ? this.trees.columns.value("nearest_m", near) : null;
      if (apart !== null && this.accuracy > apart / 2) parts.push("That is too coarse to tell neighbours apart: count rows and positions, and stake by tape or survey receiver.");
      this._say((to !== near || near < 0 || this.target >= 0 ? "To " : "Nearest tree ") + name + ": " + said, parts.join(" "));
      $("locate-free").hidden = this.target < 0;
    }

    _say(text, detail) {
      $("locate-text").textContent = text;
      $("locate-detail").textContent = detail;
    }
  };
})();
