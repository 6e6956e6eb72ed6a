using System.Globalization;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Tests.Meshing.Repair;

/// <summary>What a general-purpose geometry library says of a mesh; its program is compiled here, once a test run.</summary>
/// <param name="IsPolygonMesh">No edge has more than two faces, no vertex more than one fan, neighbours agree.</param>
/// <param name="NonManifoldEdges">Counted without the library, from the indices.</param>
/// <param name="Pairs">Pairs of faces with points in common beyond what they share, touching included; a face without area with itself.</param>
/// <param name="PairsWithinParts">Those of them whose faces hang together.</param>
/// <param name="BoundsVolume">Closed, free of such pairs, and oriented so that inside and outside alternate, outermost outward.</param>
/// <param name="VolumeMm3">Signed; 0 for an open surface.</param>
internal sealed record CgalSolidity(bool IsPolygonMesh, int NonManifoldEdges, int Pairs, int PairsWithinParts, bool Closed, bool BoundsVolume, double VolumeMm3)
{
    private const string Source = """
        #include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
        #include <CGAL/Surface_mesh.h>
        #include <CGAL/Polygon_mesh_processing/connected_components.h>
        #include <CGAL/Polygon_mesh_processing/measure.h>
        #include <CGAL/Polygon_mesh_processing/orient_polygon_soup.h>
        #include <CGAL/Polygon_mesh_processing/orientation.h>
        #include <CGAL/Polygon_mesh_processing/polygon_soup_to_polygon_mesh.h>
        #include <CGAL/Polygon_mesh_processing/self_intersections.h>
        #include <CGAL/boost/graph/helpers.h>
        #include <fstream>
        #include <iostream>
        #include <map>
        typedef CGAL::Exact_predicates_inexact_constructions_kernel K;
        typedef CGAL::Surface_mesh<K::Point_3> M;
        typedef M::Face_index F;
        namespace PMP = CGAL::Polygon_mesh_processing;
        int main(int, char** v) {
          std::ifstream in(v[1]); std::string head; int n, f, e; in >> head >> n >> f >> e;
          std::vector<K::Point_3> p(n); std::vector<std::vector<std::size_t>> t(f);
          for (auto& q : p) { double x, y, z; in >> x >> y >> z; q = K::Point_3(x, y, z); }
          for (auto& q : t) { int k; std::size_t a, b, c; in >> k >> a >> b >> c; q = {a, b, c}; }
          std::map<std::pair<std::size_t, std::size_t>, int> edges; int surplus = 0;
          for (auto& q : t) for (int i = 0; i < 3; i++) if (++edges[std::minmax(q[i], q[(i + 1) % 3])] == 3) surplus++;
          bool good = PMP::is_polygon_soup_a_polygon_mesh(t), closed = false, volume = false;
          int pairs = -1, within = -1; double cubic = 0;
          if (good) {
            M m; PMP::polygon_soup_to_polygon_mesh(p, t, m);
            std::vector<std::pair<F, F>> out; PMP::self_intersections<CGAL::Sequential_tag>(m, std::back_inserter(out));
            auto part = m.add_property_map<F, std::size_t>("f:part", 0).first; PMP::connected_components(m, part);
            pairs = (int)out.size(); within = 0;
            for (auto& q : out) within += part[q.first] == part[q.second];
            if (PMP::does_self_intersect(m) != (pairs > 0)) return 4;
            closed = CGAL::is_closed(m);
            if (closed) cubic = CGAL::to_double(PMP::volume(m));
            volume = closed && pairs == 0 && m.number_of_faces() > 0 && PMP::does_bound_a_volume(m) && PMP::is_outward_oriented(m);
          }
          std::cout.precision(17);
          std::cout << good << ' ' << surplus << ' ' << pairs << ' ' << within << ' ' << closed << ' ' << volume << ' ' << cubic << '\n';
        }
        """;

    private static readonly CompiledTool s_tool = new("solidity", Source, "-lgmp", "-lmpfr");

    public static CgalSolidity Of(Mesh mesh)
    {
        using var folder = new TestFolder();
        TestMeshes.WriteOff(mesh, folder["mesh.off"]);
        var words = s_tool.Run(folder["mesh.off"]).Split(' ', StringSplitOptions.TrimEntries);
        int Number(int i) => int.Parse(words[i], CultureInfo.InvariantCulture);
        return new(Number(0) == 1, Number(1), Number(2), Number(3), Number(4) == 1, Number(5) == 1, double.Parse(words[6], CultureInfo.InvariantCulture));
    }
}
