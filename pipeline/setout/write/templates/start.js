// Joins map, panel and tools; the page calls it last.
(function () {
  "use strict";
  const setout = window.setout;

  setout.start = function (map, data, layers) {
    const $ = setout.$, home = L.latLngBounds(data.box);
    const fit = () => map.fitBounds(home, { padding: map.getSize().x < 600 ? [8, 8] : [28, 28], animate: false });
    fit();
    const panel = (setout.tools = new setout.Panel(map, data, layers)), measure = (setout.ruler = new setout.Measure(map, data, layers.trees));
    setout.locator = new setout.Locate(map, data, layers.trees);
    setout.printer = new setout.Print(map, data, layers);
    setout.scaleBar(map, data);
    setout.leaflet = map;
    setout.layers = layers;

    const act = (latlng) => {
      if (measure.on) { measure.add(latlng); return; }
      const i = layers.trees && map.hasLayer(layers.trees) ? layers.trees.nearest(latlng, reach(map, layers.trees)) : -1;
      const hit = take(layers);
      if (i >= 0) panel.showTree(i);
      else if (pipe(latlng)) return;
      else if (hit) panel.showThing(hit.about[0][1], hit.about.slice(1), hit.about[0][0]);
      else panel.closeCard();
    };
    const pipe = (latlng) => {
      for (const layer of [layers.mains, layers.laterals]) {
        const i = layer && map.hasLayer(layer) ? layer.nearest(latlng, 10) : -1;
        if (i >= 0) { panel.showLine(layer, i); return true; }
      }
      return false;
    };
    map.on("click", (e) => act(e.latlng));
    map.on("keydown", (e) => {
      if (e.originalEvent.key === "Enter" && e.originalEvent.target === map.getContainer()) act(map.getCenter());
    });
    $("zoom-in").addEventListener("click", () => map.zoomIn());
    $("zoom-out").addEventListener("click", () => map.zoomOut());
    $("fit").addEventListener("click", fit);
    // From far away marks keep their names to themselves.
    const far = () => {
      const a = map.getCenter(), px = setout.distance(a, map.containerPointToLatLng(map.latLngToContainerPoint(a).add([100, 0])), data.earth) / 100;
      map.getContainer().classList.toggle("far", px > 0.4);
    };
    map.on("zoomend resize", far);
    far();
    new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(map.getContainer());
    document.addEventListener("keydown", (e) => { if (e.key === "Tab" || e.key.startsWith("Arrow")) document.body.classList.add("keys"); });
    document.addEventListener("pointerdown", () => document.body.classList.remove("keys"));
    document.body.dataset.ready = "yes";
  };

  // A finger is wider than a tree far away, and a crown is wider than a finger close by.
  function reach(map, trees) {
    const view = trees._view(), finger = window.matchMedia("(pointer: coarse)").matches ? 22 : 12;
    return Math.max(finger, 2.5 * view.perMetre);
  }

  // The outline under the last click, if there was one.
  function take(layers) {
    let hit = null;
    for (const layer of Object.values(layers)) if (layer.hit) { hit = layer.hit; layer.hit = null; }
    return hit && hit.about.length ? hit : null;
  }
})();
