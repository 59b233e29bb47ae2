//! Places on the earth (WGS 84): positions, geodesic distance and bearing, a plane for filters, an index of places.
//!
//! What is reported is a geodesic (Karney, "Algorithms for geodesics", J. Geodesy 87, 2013, 43–55). [`Plane`] serves
//! arithmetic within some kilometres; [`Places`] finds neighbours on earth-centred coordinates, so that neither the
//! antimeridian nor a pole is a special case.

use std::collections::BTreeMap;

use geographiclib_rs::{DirectGeodesic, Geodesic, InverseGeodesic};
use rstar::RTree;
use rstar::primitives::GeomWithData;
use serde::{Deserialize, Serialize};

/// Equatorial radius of WGS 84, metres (defining constant).
const A_M: f64 = 6_378_137.0;
/// First eccentricity of WGS 84 squared, f(2 − f) with f = 1/298.257223563 (defining constant).
const E2: f64 = (2.0 - 1.0 / 298.257_223_563) / 298.257_223_563;

/// A coordinate out of range.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PlaceError {
    /// Latitude beyond a pole, or no number.
    #[error("latitude {0} is not within -90…90: give degrees north, south negative")]
    Latitude(f64),
    /// Longitude beyond a full turn, or no number.
    #[error("longitude {0} is not within -360…360: give degrees east, west negative")]
    Longitude(f64),
}

/// A position on the WGS 84 ellipsoid, always in range.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Degrees")]
pub struct LatLon {
    lat: f64,
    lon: f64,
}

/// A position as it comes from outside, not yet checked.
#[derive(Deserialize)]
struct Degrees {
    lat: f64,
    lon: f64,
}

impl TryFrom<Degrees> for LatLon {
    type Error = PlaceError;
    fn try_from(given: Degrees) -> Result<LatLon, PlaceError> {
        LatLon::new(given.lat, given.lon)
    }
}

impl LatLon {
    /// A position from degrees north (−90…90) and degrees east (−360…360, brought to −180 < lon ≤ 180).
    ///
    /// # Errors
    /// A coordinate out of range or not a number.
    pub fn new(lat: f64, lon: f64) -> Result<LatLon, PlaceError> {
        if !(-90.0..=90.0).contains(&lat) {
            return Err(PlaceError::Latitude(lat));
        }
        if !(-360.0..=360.0).contains(&lon) {
            return Err(PlaceError::Longitude(lon));
        }
        Ok(LatLon { lat: lat + 0.0, lon: wrap(lon) })
    }

    /// Degrees north, −90…90.
    pub fn lat(self) -> f64 {
        self.lat
    }

    /// Degrees east, −180 < lon ≤ 180.
    pub fn lon(self) -> f64 {
        self.lon
    }
}

/// Brings a longitude or a difference of two (at most 540° either way) to −180 < lon ≤ 180, exact for what is there
/// already; adding zero turns −0 into 0.
fn wrap(lon: f64) -> f64 {
    if lon > 180.0 {
        lon - 360.0
    } else if lon <= -180.0 {
        lon + 360.0
    } else {
        lon + 0.0
    }
}

/// Length of the geodesic between two positions, metres.
pub fn distance_m(a: LatLon, b: LatLon) -> f64 {
    Geodesic::wgs84().inverse(a.lat, a.lon, b.lat, b.lon)
}

/// Bearing in which the geodesic from `a` to `b` sets out, degrees clockwise from north, 0 ≤ bearing < 360.
/// For one and the same position it is 0.
pub fn bearing_deg(a: LatLon, b: LatLon) -> f64 {
    if a == b {
        return 0.0;
    }
    let (azimuth, _, _): (f64, f64, f64) = Geodesic::wgs84().inverse(a.lat, a.lon, b.lat, b.lon);
    let turned = azimuth.rem_euclid(360.0);
    // A hair west of north rounds up to a full turn.
    if turned < 360.0 { turned } else { 0.0 }
}

/// The position reached from `a` on the geodesic that sets out at `bearing_deg` (clockwise from north), `m` metres on.
///
/// # Errors
/// Bearing or distance is not a finite number.
pub fn direct(a: LatLon, bearing_deg: f64, m: f64) -> Result<LatLon, PlaceError> {
    let (lat, lon): (f64, f64) = Geodesic::wgs84().direct(a.lat, a.lon, bearing_deg, m);
    LatLon::new(lat, lon)
}

/// Earth-centred, earth-fixed coordinates of a position on the ellipsoid, metres: x to 0° E, y to 90° E, z to the
/// north pole (EPSG:4978).
pub fn ecef(at: LatLon) -> [f64; 3] {
    let (sin_lat, cos_lat) = at.lat.to_radians().sin_cos();
    let (sin_lon, cos_lon) = at.lon.to_radians().sin_cos();
    let n = A_M / (1.0 - E2 * sin_lat * sin_lat).sqrt();
    [n * cos_lat * cos_lon, n * cos_lat * sin_lon, n * (1.0 - E2) * sin_lat]
}

/// A flat chart about an origin for filters: x metres east, y metres north, in the plane that touches the earth there.
///
/// Points are dropped onto the plane squarely (an orthographic projection), so any place is as good as another, on the
/// antimeridian or at a pole, where east and north are those of the origin's longitude. A distance d from the origin
/// comes out short by d³ / 6R²: 4 µm at 1 km, 1.4 cm at 15 km; 100 m between two points 15 km off by 0.3 mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Plane {
    origin: LatLon,
}

impl Plane {
    /// The chart about `origin`.
    pub fn new(origin: LatLon) -> Plane {
        Plane { origin }
    }

    /// Where x and y are zero.
    pub fn origin(self) -> LatLon {
        self.origin
    }

    /// `[x, y]` of a position, metres east and north of the origin.
    pub fn to_xy(self, at: LatLon) -> [f64; 2] {
        let ([east, north, _], from, to) = (axes(self.origin), ecef(self.origin), ecef(at));
        let way = [to[0] - from[0], to[1] - from[1], to[2] - from[2]];
        [dot(east, way), dot(north, way)]
    }

    /// The position at `[x, y]`.
    ///
    /// # Errors
    /// The point lies beyond the edge of the earth as seen from above the origin, or is not a number.
    pub fn from_xy(self, xy: [f64; 2]) -> Result<LatLon, PlaceError> {
        self.frame().place_at(xy)
    }

    /// A velocity (or another short way) given as metres east and north at `at`, on this chart's axes; and back with
    /// [`Plane::to_local`]. The same only at the origin: near a pole east turns with every step.
    pub fn from_local(self, at: LatLon, [e, n]: [f64; 2]) -> [f64; 2] {
        let ([x, y, _], [east, north, _]) = (axes(self.origin), axes(at));
        [e * dot(x, east) + n * dot(x, north), e * dot(y, east) + n * dot(y, north)]
    }

    /// A velocity on this chart's axes, as metres east and north at `at`.
    pub fn to_local(self, at: LatLon, velocity: [f64; 2]) -> [f64; 2] {
        self.frame().to_local(at, velocity)
    }

    /// The chart with all that depends on its origin alone worked out, for many points.
    pub(crate) fn frame(self) -> Frame {
        Frame { axes: axes(self.origin), from: ecef(self.origin) }
    }
}

/// A chart's axes and origin in earth-centred coordinates.
pub(crate) struct Frame {
    axes: [[f64; 3]; 3],
    from: [f64; 3],
}

impl Frame {
    /// As [`Plane::from_xy`].
    pub fn place_at(&self, [x, y]: [f64; 2]) -> Result<LatLon, PlaceError> {
        let ([east, north, up], from) = (self.axes, self.from);
        let flat: [f64; 3] = std::array::from_fn(|i| from[i] + x * east[i] + y * north[i]);
        // In units of the semi-axes the earth is a unit sphere; on it `drop` metres below the plane.
        let b_m = A_M * (1.0 - E2).sqrt();
        let scaled = |[x, y, z]: [f64; 3]| [x / A_M, y / A_M, z / b_m];
        let (p, u) = (scaled(flat), scaled(up));
        let (a, b, c) = (dot(u, u), dot(p, u), dot(p, p) - 1.0);
        let drop = c / (b + (b * b - a * c).sqrt());
        let [x, y, z] = std::array::from_fn(|i| flat[i] - drop * up[i]);
        let lat = z.atan2((1.0 - E2) * x.hypot(y)).to_degrees();
        LatLon::new(lat, y.atan2(x).to_degrees())
    }

    /// As [`Plane::to_local`].
    pub fn to_local(&self, at: LatLon, [vx, vy]: [f64; 2]) -> [f64; 2] {
        let ([x, y, _], [east, north, _]) = (self.axes, axes(at));
        [vx * dot(x, east) + vy * dot(y, east), vx * dot(x, north) + vy * dot(y, north)]
    }
}

/// East, north and up at a position, as unit vectors in earth-centred coordinates.
fn axes(at: LatLon) -> [[f64; 3]; 3] {
    let (sin_lat, cos_lat) = at.lat.to_radians().sin_cos();
    let (sin_lon, cos_lon) = at.lon.to_radians().sin_cos();
    let east = [-sin_lon, cos_lon, 0.0];
    let north = [-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat];
    [east, north, [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat]]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Places by name, and which of them lie near a position.
#[derive(Debug, Clone)]
pub struct Places<K> {
    places: BTreeMap<K, LatLon>,
    tree: RTree<GeomWithData<[f64; 3], K>>,
}

impl<K: Ord + Clone> Places<K> {
    /// No places.
    pub fn new() -> Places<K> {
        Places { places: BTreeMap::new(), tree: RTree::new() }
    }

    /// Puts `key` at a position, moving it if it has one; the earlier position is handed back.
    pub fn insert(&mut self, key: K, at: LatLon) -> Option<LatLon> {
        let before = self.remove(&key);
        self.tree.insert(GeomWithData::new(ecef(at), key.clone()));
        self.places.insert(key, at);
        before
    }

    /// Takes `key` out; its position is handed back.
    pub fn remove(&mut self, key: &K) -> Option<LatLon> {
        let at = self.places.remove(key)?;
        self.tree.remove(&GeomWithData::new(ecef(at), key.clone()));
        Some(at)
    }

    /// Where `key` is.
    pub fn get(&self, key: &K) -> Option<LatLon> {
        self.places.get(key).copied()
    }

    /// How many places there are.
    pub fn len(&self) -> usize {
        self.places.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.places.is_empty()
    }

    /// All places within `radius_m` metres (geodesic, inclusive) and their distances in metres, nearest first, equal
    /// distances in order of key. Empty for a radius that is negative or not a number.
    pub fn within(&self, at: LatLon, radius_m: f64) -> Vec<(&K, f64)> {
        if radius_m.is_nan() || radius_m < 0.0 {
            return Vec::new();
        }
        // A chord is never longer than its geodesic, so the tree misses none; the micrometre covers rounding.
        let chord_m = radius_m + 1e-6;
        let mut found: Vec<(&K, f64)> = self
            .tree
            .locate_within_distance(ecef(at), chord_m * chord_m)
            .filter_map(|place| Some((&place.data, distance_m(at, *self.places.get(&place.data)?))))
            .filter(|(_, distance)| *distance <= radius_m)
            .collect();
        found.sort_by(|a, b| a.1.total_cmp(&b.1).then_with(|| a.0.cmp(b.0)));
        found
    }
}

impl<K: Ord + Clone> Default for Places<K> {
    fn default() -> Places<K> {
        Places::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(lat: f64, lon: f64) -> LatLon {
        LatLon::new(lat, lon).unwrap()
    }

    #[test]
    fn positions_are_checked_and_brought_to_one_turn() {
        let same = [(24.85, -80.85), (90.0, 0.0), (-90.0, 180.0), (0.0, -179.999)];
        for (lat, lon) in same {
            assert_eq!((at(lat, lon).lat(), at(lat, lon).lon()), (lat, lon));
        }
        for (given, lon) in
            [(-180.0, 180.0), (279.15, 279.15 - 360.0), (-190.0, 170.0), (360.0, 0.0), (-360.0, 0.0)]
        {
            assert_eq!(at(0.0, given).lon(), lon, "{given}");
        }
        assert!(at(-0.0, -0.0).lon().is_sign_positive() && at(-0.0, -0.0).lat().is_sign_positive());
        for (lat, lon, text) in [
            (90.1, 0.0, "latitude 90.1 is not within -90…90: give degrees north, south negative"),
            (f64::NAN, 0.0, "latitude NaN is not within -90…90: give degrees north, south negative"),
            (24.0, 8051.0, "longitude 8051 is not within -360…360: give degrees east, west negative"),
            (24.0, f64::INFINITY, "longitude inf is not within -360…360: give degrees east, west negative"),
        ] {
            assert_eq!(LatLon::new(lat, lon).unwrap_err().to_string(), text);
        }
    }

    #[test]
    fn json_is_checked_like_everything_else() {
        let place: LatLon = serde_json::from_str(r#"{"lat":24.85,"lon":279.15}"#).unwrap();
        assert_eq!(serde_json::to_string(&at(24.85, -80.85)).unwrap(), r#"{"lat":24.85,"lon":-80.85}"#);
        assert_eq!(place, at(24.85, 279.15));
        assert!(serde_json::from_str::<LatLon>(r#"{"lat":91,"lon":0}"#).is_err());
    }

    /// lat1, lon1, azi1, lat2, lon2, azi2, s12 (degrees, metres).
    #[rustfmt::skip]
    const LINES: &[[f64; 7]] = &[
        // Twenty rows of GeographicLib's published test set, as carried by its Python package (MIT).
        [35.60777, -139.44815, 111.09874842956033, -11.17491, -69.95921, 129.28927088970877, 8935244.56048183],
        [55.52454, 106.05087, 22.0200598809828, 77.03196, -162.81766, 109.11204111067151, 4105086.171392441],
        [-21.97856, 142.59065, -32.44456876433189, 41.84138, 98.56635, -41.84359951440466, 8394328.894657671],
        [-66.99028, 112.2363, 173.73491240878403, -12.70631, -74.09656, 2.512956620913668, 11150344.231208025],
        [-17.42761, 173.34268, -159.03355766119293, -15.84784, 5.93557, -20.78748465153699, 16076603.163118068],
        [32.84994, 48.28919, 150.492927788122, -56.28556, -157.70868, 48.11344939981676, 16727068.943816446],
        [6.96833, 52.74123, 92.58158538631771, -7.39675, -153.82709, 90.72169216592391, 17102477.249695837],
        [-50.56724, -16.30485, -105.43967990759016, -33.56571, -94.97412, -47.34854783565033, 6455670.511866869],
        [-58.93002, -8.90775, 140.96539790250068, -8.91104, 133.13503, 19.255429433416598, 11756066.021986462],
        [-68.82867, -74.28391, 93.77434776311487, -50.63005, -8.36685, 34.65564085411343, 3956936.926063544],
        [-10.62672, -32.0898, -86.42671328674776, 5.883, -134.31681, -80.47378097103487, 11470869.386456301],
        [-21.76221, 166.90563, 29.31942120693643, 48.72884, -146.02373, 43.50867194641017, 9098627.398655491],
        [-19.79938, -174.47484, 71.16727578017154, -11.99349, -154.35109, 65.58909977519923, 2319004.860116939],
        [-11.95887, -116.94513, 92.71261983045255, 4.57352, 7.16501, 78.64960934409585, 13834722.580140138],
        [-87.85331, 85.66836, -65.12031304024275, 66.48646, 16.09921, -4.888658719272296, 17286615.314714465],
        [1.74708, 128.32011, -101.58484363117385, -11.16617, 11.87109, -86.32579329643748, 12942901.124134742],
        [-25.72959, -144.90758, -153.6474686931172, -57.70581, 90.82121, -48.34398315887649, 9413446.745245311],
        [-41.22777, 122.32875, 14.285113402275739, -7.57291, 130.37946, 10.805303085187369, 3812686.035106021],
        [11.01307, 138.25278, 79.43682622782374, 6.62726, -112.94019, 103.70809021552266, 11911190.819018409],
        [-29.47124, 95.14681, -163.77913044168838, -27.46601, -69.15955, -15.90933594555497, 13487015.838114548],
        // Karney 2013: direct, short-line and nearly antipodal examples.
        [40.0, 0.0, 30.0, 41.793310205056, 137.844900043772, 149.0901693181, 10000000.0],
        [-30.12345, 0.0, 77.043533541, -30.12344, 5e-05, 77.0435084478, 4.9442083],
        [-30.0, 0.0, 161.8905247363, 29.9, 179.8, 18.0907372457, 19989832.8276095],
        // Computed with geographiclib 2.1 for Python, equal to PROJ (pyproj 3.7.2); invented positions.
        [0.0, 0.0, 90.0, 0.0, 1.0, 90.0, 111319.4907933],
        [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 110574.3885578],
        [24.85, -80.85, -42.3787477104, 24.8501, -80.8501, -42.3787897349, 14.9952464],
        [24.8, -80.9, 89.999790274, 24.8, -80.899, 90.000209726, 101.1128901],
        [24.8, -80.9, 0.0, 24.8009, -80.9, 0.0, 99.6929313],
        [28.75, -82.7, -44.3971440606, 28.7509, -82.701, -44.3976250563, 139.6051059],
        [24.8, -80.9, 42.3871634828, 24.81, -80.89, 42.3913587958, 1499.7662279],
        [24.8, -80.9, 42.357778949, 24.9, -80.8, 42.3998033847, 14995.2475194],
        [-17.0, 179.9999, 90.0000292372, -17.0, -179.9999, 89.9999707628, 21.2971662],
        [24.85, -80.85, 135.0, 24.84980849423, -80.849790118859, 135.000088201, 30.0],
        [24.85, -80.85, 45.0, 24.861821709019, -80.837042086039, 45.0054467, 1852.0],
    ];

    /// Degrees between two directions, 0…180.
    fn apart(a: f64, b: f64) -> f64 {
        wrap((a - b).rem_euclid(360.0)).abs()
    }

    #[test]
    fn geodesics_are_karneys() {
        for &[lat1, lon1, azi1, lat2, lon2, azi2, s12] in LINES {
            let (a, b) = (at(lat1, lon1), at(lat2, lon2));
            assert!((distance_m(a, b) - s12).abs() < 2e-6, "{} for {s12}", distance_m(a, b));
            assert!((distance_m(b, a) - s12).abs() < 2e-6, "{s12} the other way");
            // The printed coordinates are good for about a micrometre, which turns a short line.
            let printed = 1e-8 + (1e-6 / s12).to_degrees();
            assert!(apart(bearing_deg(a, b), azi1) < printed, "{} for {azi1}", bearing_deg(a, b));
            assert!(
                apart(bearing_deg(b, a), azi2 + 180.0) < printed,
                "{} for {azi2} back",
                bearing_deg(b, a)
            );
            // A printed bearing of the nearly antipodal line is good for a millimetre at its far end.
            assert!(distance_m(direct(a, azi1, s12).unwrap(), b) < 1e-3, "direct to {b:?}");
        }
        assert_eq!(bearing_deg(at(24.8, -80.9), at(24.8, -80.9)), 0.0);
        assert!(
            direct(at(0.0, 0.0), f64::NAN, 1.0).is_err() && direct(at(0.0, 0.0), 0.0, f64::INFINITY).is_err()
        );
    }

    #[test]
    fn earth_centred_coordinates_are_projs() {
        // Computed with PROJ (EPSG:4979 to 4978), equal to the formula to 0.0001 m; lat, lon, height, x, y, z.
        #[rustfmt::skip]
        let table: [[f64; 6]; 6] = [
            [0.0, 0.0, 0.0, 6378137.0, 0.0, 0.0],
            [90.0, 0.0, 0.0, 0.0, 0.0, 6356752.3142],
            [24.85, -80.85, 0.0, 920885.6404, -5717328.2203, 2664006.2905],
            [24.85, -80.85, -25.0, 920882.0330, -5717305.8237, 2663995.7844],
            [45.0, 45.0, 1000.0, 3194919.1451, 3194919.1451, 4488055.5156],
            [-33.9, 151.2, 10.0, -4643953.3009, 2553034.9317, -3537250.9254],
        ];
        for [lat, lon, h, x, y, z] in table {
            let ((sin_lat, cos_lat), (sin_lon, cos_lon)) =
                (lat.to_radians().sin_cos(), lon.to_radians().sin_cos());
            let up = [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat];
            for ((got, up), want) in ecef(at(lat, lon)).iter().zip(up).zip([x, y, z]) {
                assert!((got + h * up - want).abs() < 1e-4, "{got} for {want}");
            }
        }
    }

    #[test]
    fn the_plane_keeps_distances_from_its_origin() {
        let bounds = [(15.0, 1e-8), (100.0, 1e-8), (2_000.0, 4e-5), (15_000.0, 2e-2)];
        for (lat, lon) in [
            (0.0, 0.0),
            (24.8, -80.9),
            (-17.0, 179.99999),
            (45.0, -180.0),
            (-60.0, 5.0),
            (70.0, 5.0),
            (89.9999, -120.0),
            (90.0, 10.0),
            (-90.0, 0.0),
        ] {
            let plane = Plane::new(at(lat, lon));
            for bearing in (0..360).step_by(15) {
                for (m, bound) in bounds {
                    let point = direct(plane.origin(), f64::from(bearing), m).unwrap();
                    let [x, y] = plane.to_xy(point);
                    assert!((x.hypot(y) - m).abs() < bound, "{lat} {bearing} {m}: {}", x.hypot(y) - m);
                    let back = plane.from_xy([x, y]).unwrap();
                    assert!(
                        distance_m(back, point) < 2e-8,
                        "{lat} {bearing} {m}: {}",
                        distance_m(back, point)
                    );
                }
            }
        }
    }

    #[test]
    fn the_plane_is_true_enough_far_from_its_origin() {
        for lat in [0.0, 24.8, -45.0, 60.0, 89.9] {
            let plane = Plane::new(at(lat, 10.0));
            for bearing in (0..360).step_by(15) {
                let a = direct(plane.origin(), f64::from(bearing), 15_000.0).unwrap();
                for course in (0..360).step_by(30) {
                    let b = direct(a, f64::from(course), 100.0).unwrap();
                    let ([ax, ay], [bx, by]) = (plane.to_xy(a), plane.to_xy(b));
                    let error = (bx - ax).hypot(by - ay) - 100.0;
                    assert!(error.abs() < 4e-4, "{lat} {bearing} {course}: {error}");
                }
            }
        }
    }

    #[test]
    fn the_plane_refuses_what_is_off_the_earth() {
        for plane in [Plane::new(at(24.8, -80.9)), Plane::new(at(90.0, 0.0))] {
            for xy in [[f64::NAN, 0.0], [0.0, f64::INFINITY], [1e12, 0.0], [0.0, 7e6]] {
                assert!(plane.from_xy(xy).is_err(), "{xy:?}");
            }
        }
    }

    #[test]
    fn a_velocity_turns_with_east_and_north() {
        // Across the pole, north on one side is south on the other: from 0° E to 180° E.
        let plane = Plane::new(at(89.999, 0.0));
        for (place, local, expected) in [
            (at(89.999, 0.0), [1.0, 2.0], [1.0, 2.0]),
            (at(89.999, 180.0), [1.0, 2.0], [-1.0, -2.0]),
            (at(89.999, 90.0), [1.0, 2.0], [-2.0, 1.0]),
        ] {
            let there = plane.from_local(place, local);
            let back = plane.to_local(place, there);
            for i in 0..2 {
                assert!(
                    (there[i] - expected[i]).abs() < 1e-4 && (back[i] - local[i]).abs() < 1e-4,
                    "{place:?}"
                );
            }
        }
    }

    #[test]
    fn neighbours_are_found_across_the_antimeridian_and_over_the_poles() {
        let mut places = Places::new();
        for (key, lat, lon) in [
            ("west", -17.0, 179.9999),
            ("east", -17.0, -179.9999),
            ("far", -17.0, 179.9),
            ("pole", 90.0, 0.0),
            ("over", 89.9999, 10.0),
            ("beyond", 89.9999, -170.0),
            ("twin a", 0.0, 0.001),
            ("twin b", 0.0, -0.001),
        ] {
            assert_eq!(places.insert(key, at(lat, lon)), None);
        }
        let near = |lat, lon, radius| places.within(at(lat, lon), radius);
        let keys = |lat, lon, radius| near(lat, lon, radius).into_iter().map(|(k, _)| *k).collect::<Vec<_>>();
        assert_eq!(keys(-17.0, 180.0, 20.0), ["east", "west"]);
        // The distance across the antimeridian is the `dateline` line above.
        let across = near(-17.0, 179.9999, 22.0);
        assert!(across.len() == 2 && (across[1].1 - 21.2971662).abs() < 1e-6, "{across:?}");
        assert_eq!(keys(-17.0, 179.9999, 21.0), ["west"]);
        assert_eq!(keys(89.9999, 10.0, 30.0), ["over", "pole", "beyond"]);
        assert_eq!(keys(90.0, 77.0, 5.0), ["pole"]);
        assert_eq!(keys(0.0, 0.0, 112.0), ["twin a", "twin b"], "equal distances in order of key");
        assert!(near(0.0, 0.0, f64::NAN).is_empty() && near(-17.0, 180.0, -20.0).is_empty());
        assert_eq!(keys(0.0, 0.0, f64::INFINITY).len(), 8);
    }

    #[test]
    fn a_place_moves_and_goes() {
        let mut places = Places::default();
        assert!(places.is_empty());
        let (here, there) = (at(24.8, -80.9), at(24.9, -80.9));
        assert_eq!(places.insert(7, here), None);
        assert_eq!(places.insert(8, here), None);
        assert_eq!(places.insert(7, there), Some(here));
        assert_eq!((places.get(&7), places.len()), (Some(there), 2));
        assert_eq!(places.within(here, 1.0), [(&8, 0.0)]);
        assert_eq!(places.within(there, 1.0), [(&7, 0.0)]);
        assert_eq!((places.remove(&7), places.remove(&7)), (Some(there), None));
        assert!(places.within(there, 1.0).is_empty());
    }

    proptest! {
        #[test]
        fn within_is_what_a_look_at_every_place_finds(
            origin in (-90.0..=90.0f64, -180.0..=180.0f64),
            offsets in prop::collection::vec((0.0..360.0f64, 0.0..300.0f64), 0..40),
            gone in prop::collection::vec(0..40usize, 0..10),
            radius in 0.0..300.0f64,
        ) {
            let origin = at(origin.0, origin.1);
            let mut places = Places::new();
            for (key, (bearing, m)) in offsets.iter().enumerate() {
                places.insert(key, direct(origin, *bearing, *m).unwrap());
            }
            for key in gone {
                places.remove(&key);
            }
            let mut every: Vec<(usize, f64)> = (0..offsets.len())
                .filter_map(|key| Some((key, distance_m(origin, places.get(&key)?))))
                .filter(|(_, m)| *m <= radius)
                .collect();
            every.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
            let found: Vec<(usize, f64)> = places.within(origin, radius).into_iter().map(|(k, m)| (*k, m)).collect();
            prop_assert_eq!(found, every);
        }
    }
}
