using System.Globalization;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Tests.Meshing.Verify;

/// <summary>A general-purpose geometry library (CGAL, Debian's libcgal-dev), compiled here, asked about a mesh.</summary>
internal static class CgalMesh
{
    private const string Source = """
        #include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
        #include <CGAL/Surface_mesh.h>
        #include <CGAL/Polygon_mesh_processing/self_intersections.h>
        #include <CGAL/Polygon_mesh_processing/manifoldness.h>
        #include <fstream>
        #include <iostream>
        typedef CGAL::Exact_predicates_inexact_constructions_kernel K;
        typedef CGAL::Surface_mesh<K::Point_3> M;
        int main(int, char** v) {
          std::ifstream in(v[2]); std::string head; int n, f, e; in >> head >> n >> f >> e;
          M m; std::vector<M::Vertex_index> at;
          for (int i = 0; i < n; i++) { double x, y, z; in >> x >> y >> z; at.push_back(m.add_vertex(K::Point_3(x, y, z))); }
          for (int i = 0; i < f; i++) { int k, a, b, c; in >> k >> a >> b >> c; if (m.add_face(at[a], at[b], at[c]) == M::null_face()) return 3; }
          if (std::string(v[1]) == "vertices") {
            std::vector<M::Halfedge_index> out;
            CGAL::Polygon_mesh_processing::non_manifold_vertices(m, std::back_inserter(out));
            std::cout << out.size() << '\n';
            return 0;
          }
          std::vector<std::pair<M::Face_index, M::Face_index>> out;
          CGAL::Polygon_mesh_processing::self_intersections<CGAL::Sequential_tag>(m, std::back_inserter(out));
          for (auto& p : out) std::cout << (int)p.first << ' ' << (int)p.second << '\n';
        }
        """;

    private static readonly CompiledTool s_tool = new("cgal-mesh", Source, "-lgmp", "-lmpfr");

    /// <summary>Pairs of triangles that meet where they should not, a triangle without area as a pair with itself.</summary>
    /// <remarks>The library refuses to build a mesh with a non-manifold edge: then the test fails here.</remarks>
    public static (int First, int Second)[] Pairs(Mesh mesh) => [.. Ask(mesh, "pairs")
        .Select(l => l.Split(' '))
        .Select(w => (int.Parse(w[0], CultureInfo.InvariantCulture), int.Parse(w[1], CultureInfo.InvariantCulture)))];

    public static int NonManifoldVertices(Mesh mesh) => int.Parse(Ask(mesh, "vertices").Single(), CultureInfo.InvariantCulture);

    private static string[] Ask(Mesh mesh, string what)
    {
        using var folder = new TestFolder();
        TestMeshes.WriteOff(mesh, folder["mesh.off"]);
        return s_tool.Run(what, folder["mesh.off"]).Split('\n', StringSplitOptions.RemoveEmptyEntries);
    }
}
