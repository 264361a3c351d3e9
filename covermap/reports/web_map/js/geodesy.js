// Where a square is, and which way and how far a mast stands from it.
"use strict";

// WGS 84 ellipsoid.
const SEMI_MAJOR_M = 6378137;
const FLATTENING = 1 / 298.257223563;

// Azimuth at the first point (degrees from true north) and distance on the ellipsoid.
// Source: T. Vincenty, Survey Review XXIII, 176 (1975), inverse formula; 0.5 mm where it converges.
function geodesic(from, to) {
  const rad = Math.PI / 180;
  const b = SEMI_MAJOR_M * (1 - FLATTENING);
  const u1 = Math.atan((1 - FLATTENING) * Math.tan(from.latitude_deg * rad));
  const u2 = Math.atan((1 - FLATTENING) * Math.tan(to.latitude_deg * rad));
  const [sin_u1, cos_u1, sin_u2, cos_u2] = [Math.sin(u1), Math.cos(u1), Math.sin(u2), Math.cos(u2)];
  const difference = (to.longitude_deg - from.longitude_deg) * rad;
  let lambda = difference, sin_sigma, cos_sigma, sigma, cos2_alpha, cos_2m;
  for (let turn = 0; turn < 50; turn++) {
    const cross = cos_u1 * sin_u2 - sin_u1 * cos_u2 * Math.cos(lambda);
    sin_sigma = Math.hypot(cos_u2 * Math.sin(lambda), cross);
    if (sin_sigma === 0) return { azimuth_deg: 0, distance_km: 0 };
    cos_sigma = sin_u1 * sin_u2 + cos_u1 * cos_u2 * Math.cos(lambda);
    sigma = Math.atan2(sin_sigma, cos_sigma);
    const sin_alpha = (cos_u1 * cos_u2 * Math.sin(lambda)) / sin_sigma;
    cos2_alpha = 1 - sin_alpha * sin_alpha;
    cos_2m = cos2_alpha === 0 ? 0 : cos_sigma - (2 * sin_u1 * sin_u2) / cos2_alpha;
    const c = (FLATTENING / 16) * cos2_alpha * (4 + FLATTENING * (4 - 3 * cos2_alpha));
    const inner = cos_2m + c * cos_sigma * (2 * cos_2m * cos_2m - 1);
    const before = lambda;
    lambda = difference + (1 - c) * FLATTENING * sin_alpha * (sigma + c * sin_sigma * inner);
    if (Math.abs(lambda - before) < 1e-12) break;
  }
  const square = (cos2_alpha * (SEMI_MAJOR_M ** 2 - b * b)) / (b * b);
  const a_term = 1 + (square / 16384) * (4096 + square * (-768 + square * (320 - 175 * square)));
  const b_term = (square / 1024) * (256 + square * (-128 + square * (74 - 47 * square)));
  const last = (b_term / 6) * cos_2m * (4 * sin_sigma * sin_sigma - 3) * (4 * cos_2m * cos_2m - 3);
  const middle = cos_2m + (b_term / 4) * (cos_sigma * (2 * cos_2m * cos_2m - 1) - last);
  const distance_m = b * a_term * (sigma - b_term * sin_sigma * middle);
  const y = cos_u2 * Math.sin(lambda);
  const x = cos_u1 * sin_u2 - sin_u1 * cos_u2 * Math.cos(lambda);
  return { azimuth_deg: (Math.atan2(y, x) / rad + 360) % 360, distance_km: distance_m / 1000 };
}

// The place at an azimuth and distance from another, on the ellipsoid.
// Source: T. Vincenty, Survey Review XXIII, 176 (1975), direct formula; 0.5 mm.
function place_along(from, azimuth_deg, distance_km) {
  const rad = Math.PI / 180;
  const b = SEMI_MAJOR_M * (1 - FLATTENING);
  const [sin_azimuth, cos_azimuth] = [Math.sin(azimuth_deg * rad), Math.cos(azimuth_deg * rad)];
  const u1 = Math.atan((1 - FLATTENING) * Math.tan(from.latitude_deg * rad));
  const [sin_u1, cos_u1] = [Math.sin(u1), Math.cos(u1)];
  const sigma_1 = Math.atan2(Math.tan(u1), cos_azimuth);
  const sin_alpha = cos_u1 * sin_azimuth;
  const cos2_alpha = 1 - sin_alpha * sin_alpha;
  const square = (cos2_alpha * (SEMI_MAJOR_M ** 2 - b * b)) / (b * b);
  const a_term = 1 + (square / 16384) * (4096 + square * (-768 + square * (320 - 175 * square)));
  const b_term = (square / 1024) * (256 + square * (-128 + square * (74 - 47 * square)));
  let sigma = (distance_km * 1000) / (b * a_term), cos_2m = 0;
  for (let turn = 0; turn < 50; turn++) {
    cos_2m = Math.cos(2 * sigma_1 + sigma);
    const last = (b_term / 6) * cos_2m * (4 * Math.sin(sigma) ** 2 - 3) * (4 * cos_2m * cos_2m - 3);
    const middle = cos_2m + (b_term / 4) * (Math.cos(sigma) * (2 * cos_2m * cos_2m - 1) - last);
    const next = (distance_km * 1000) / (b * a_term) + b_term * Math.sin(sigma) * middle;
    const moved = Math.abs(next - sigma);
    sigma = next;
    if (moved < 1e-12) break;
  }
  const [sin_sigma, cos_sigma] = [Math.sin(sigma), Math.cos(sigma)];
  const down = sin_u1 * sin_sigma - cos_u1 * cos_sigma * cos_azimuth;
  const latitude = Math.atan2(
    sin_u1 * cos_sigma + cos_u1 * sin_sigma * cos_azimuth, (1 - FLATTENING) * Math.hypot(sin_alpha, down),
  );
  const lambda = Math.atan2(sin_sigma * sin_azimuth, cos_u1 * cos_sigma - sin_u1 * sin_sigma * cos_azimuth);
  const c = (FLATTENING / 16) * cos2_alpha * (4 + FLATTENING * (4 - 3 * cos2_alpha));
  const turned = lambda - (1 - c) * FLATTENING * sin_alpha
    * (sigma + c * sin_sigma * (cos_2m + c * cos_sigma * (2 * cos_2m * cos_2m - 1)));
  const longitude_deg = from.longitude_deg + turned / rad;
  return { latitude_deg: latitude / rad, longitude_deg: ((longitude_deg + 540) % 360) - 180 };
}

// Value pairs of a table of lattice + 1 points a side, straight between them; row and col run 0 to 1.
function from_table(table, row, col) {
  const n = page.facts.grid.lattice;
  const r = Math.min(n - 1, Math.max(0, Math.floor(row * n)));
  const c = Math.min(n - 1, Math.max(0, Math.floor(col * n)));
  const [p, q] = [row * n - r, col * n - c];
  return [0, 1].map((part) => {
    const at = (i, j) => table[2 * ((r + i) * (n + 1) + c + j) + part];
    return (at(0, 0) * (1 - q) + at(0, 1) * q) * (1 - p) + (at(1, 0) * (1 - q) + at(1, 1) * q) * p;
  });
}

// The cell under a pixel's centre: its row and col in the rasters, and the place of its centre.
function cell_under(pixel) {
  const grid = page.facts.grid;
  const [row, col] = from_table(
    grid.cell_of_pixel, (pixel.row + 0.5) / grid.rows, (pixel.col + 0.5) / grid.cols,
  ).map(Math.floor);
  return { row, col, ...place_of_cell(row + 0.5, col + 0.5) };
}

// The place of a point of the rasters' own grid, counted in cells; null outside it.
function place_of_cell(row, col) {
  const { cell_rows, cell_cols, place_of_cell: table } = page.facts.grid;
  if (row < 0 || col < 0 || row > cell_rows || col > cell_cols) return null;
  const [longitude_deg, latitude_deg] = from_table(table, row / cell_rows, col / cell_cols);
  return { latitude_deg, longitude_deg: longitude_deg > 180 ? longitude_deg - 360 : longitude_deg };
}

// A place where the map draws it: on the other side of 180 degrees Leaflet's world goes on, and so does a map across it.
function latlng_of({ latitude_deg, longitude_deg }) {
  const { rows, cols } = page.facts.grid;
  const turns = Math.round((longitude_deg - place_of(rows / 2, cols / 2).lng) / 360);
  return L.latLng(latitude_deg, longitude_deg - 360 * turns);
}

// The pixel at a place, or null outside the picture.
function pixel_at(latlng) {
  const grid = page.facts.grid;
  const point = L.CRS.EPSG3857.project(latlng_of({ latitude_deg: latlng.lat, longitude_deg: latlng.lng }));
  const col = Math.floor((point.x - grid.x_min) / grid.pixel_m);
  const row = Math.floor((grid.y_max - point.y) / grid.pixel_m);
  return row < 0 || col < 0 || row >= grid.rows || col >= grid.cols ? null : { row, col };
}

// The place of a point counted in pixels from the picture's north-west corner.
function place_of(row, col) {
  const grid = page.facts.grid;
  return L.CRS.EPSG3857.unproject(L.point(grid.x_min + col * grid.pixel_m, grid.y_max - row * grid.pixel_m));
}

function pixel_index(pixel) {
  return pixel.row * page.facts.grid.cols + pixel.col;
}
