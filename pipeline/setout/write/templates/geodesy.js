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

  // Bearing from true north, clockwise, 0 to 360 [deg].
  setout.bearing = function (p, q, earth) {
    const m = setout.metresPerDegree((p.lat + q.lat) / 2, earth);
    return (Math.atan2((q.lng - p.lng) * m.lon, (q.lat - p.lat) * m.lat) / RAD + 360) % 360;
  };

  // Area [m2] that points enclose, in the order given.
  setout.area = function (points, earth) {
    const lat = points.reduce((sum, p) => sum + p.lat, 0) / points.length, m = setout.metresPerDegree(lat, earth);
    let twice = 0;
    points.forEach((p, i) => {
      const q = points[(i + 1) % points.length], o = points[0];
      twice += (p.lng - o.lng) * (q.lat - o.lat) - (q.lng - o.lng) * (p.lat - o.lat);
    });
    return (Math.abs(twice) / 2) * m.lat * m.lon;
  };

  setout.showArea = function (m2, units) {
    const us = units === "us", far = us ? m2 > 0.1 * 4046.8564224 : m2 > 1000;
    const value = us ? (far ? m2 / 4046.8564224 : m2 / 0.09290304) : far ? m2 / 1e4 : m2, digits = far ? 2 : 0;
    return value.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits }) + (us ? (far ? " acres" : " sq ft") : far ? " ha" : " m\u00b2");
  };

  // "N 35° E", as row directions are told.
  setout.quadrant = function (degrees) {
    const b = Math.round(degrees) % 360, four = ["north", "east", "south", "west"];
    if (b % 90 === 0) return four[b / 90];
    const north = b < 90 || b > 270, east = b < 180, angle = b < 90 ? b : b < 180 ? 180 - b : b < 270 ? b - 180 : 360 - b;
    return (north ? "N " : "S ") + angle + "\u00b0 " + (east ? "E" : "W");
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
