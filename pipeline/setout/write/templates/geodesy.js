// Distances on the WGS 84 ellipsoid, raised to the site's height: what a level tape on the ground reads.
// Leaflet's own measure takes the earth as a sphere and is off by up to 0.4 %.
(function () {
  "use strict";
  const setout = (window.setout = window.setout || {});
  const RAD = Math.PI / 180;
  setout.R = 6378137; // sphere of Web Mercator [m]

  // Metres per degree of latitude and of longitude at a latitude: radii of curvature M and N cos(lat).
  setout.metresPerDegree = function (lat, earth) {
    const s = Math.sin(lat * RAD), w = 1 - earth.e2 * s * s;
    return {
      lat: (RAD * earth.scale * earth.a * (1 - earth.e2)) / (w * Math.sqrt(w)),
      lon: (RAD * earth.scale * earth.a * Math.cos(lat * RAD)) / Math.sqrt(w),
    };
  };

  // Ground distance [m] by the middle latitude: exact to a millionth over a few kilometres.
  setout.distance = function (p, q, earth) {
    const m = setout.metresPerDegree((p.lat + q.lat) / 2, earth);
    return Math.hypot((q.lat - p.lat) * m.lat, (q.lng - p.lng) * m.lon);
  };

  setout.unmercator = function (x, y) {
    return [Math.atan(Math.sinh(y / setout.R)) / RAD, x / setout.R / RAD];
  };

  setout.bytes = function (base64) {
    const text = atob(base64), out = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) out[i] = text.charCodeAt(i);
    return out;
  };

  setout.showLength = function (metres, units, decimals) {
    const us = units === "us", value = us ? metres / 0.3048 : metres;
    const digits = decimals !== undefined ? decimals : value < 1000 ? 2 : 0;
    return value.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits }) + (us ? " ft" : " m");
  };
})();
