// What a general geometry library says of an OFF file of triangles: closed, bounds a volume, crossings, volume.
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Surface_mesh.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Polygon_mesh_processing/orientation.h>
#include <CGAL/Polygon_mesh_processing/self_intersections.h>
#include <cstdio>
#include <fstream>
#include <vector>
typedef CGAL::Exact_predicates_inexact_constructions_kernel K;
typedef CGAL::Surface_mesh<K::Point_3> M;
namespace PMP = CGAL::Polygon_mesh_processing;
int main(int, char** v) {
  std::ifstream in(v[1]); std::string head; int n, f, e; in >> head >> n >> f >> e;
  M m; std::vector<M::Vertex_index> at;
  for (int i = 0; i < n; i++) { double x, y, z; in >> x >> y >> z; at.push_back(m.add_vertex(K::Point_3(x, y, z))); }
  for (int i = 0; i < f; i++) { int k, a, b, c; in >> k >> a >> b >> c; if (m.add_face(at[a], at[b], at[c]) == M::null_face()) return 3; }
  bool closed = CGAL::is_closed(m), crosses = PMP::does_self_intersect<CGAL::Sequential_tag>(m);
  std::printf("valid %d\nclosed %d\ncrosses %d\n", (int)m.is_valid(false), (int)closed, (int)crosses);
  if (closed && !crosses) std::printf("bounds %d\nvolume %.9g\n", (int)PMP::does_bound_a_volume(m), CGAL::to_double(PMP::volume(m)));
}
