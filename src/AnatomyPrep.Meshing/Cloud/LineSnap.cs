using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Cloud;

/// <summary>Which vertices stand so near to the line of a <see cref="SheetClip"/> that the border shall run through them.</summary>
/// <remarks>
/// A line that passes a vertex closely cuts all edges there, and leaves edges of a tenth of the others: needles, whose directions are noise, and
/// kinks that no fill can follow. Such a vertex, within <see cref="Reach"/> of an edge, becomes part of the border instead, as in the snapping of
/// lattice methods (Labelle and Shewchuk, "Isosurface stuffing", 2007, from memory). It stays where it is.
/// Taken in the order of their numbers, and only where what is kept around it, and around its neighbours on the border, then still hangs together
/// in one fan, so a manifold stays one; and no triangle may be lost for having all three corners on the border.
/// Cost: O(triangles), on one core.
/// </remarks>
internal static class LineSnap
{
    /// <summary>Part of an edge within which its end is taken for the line.</summary>
    internal const float Reach = 0.3f;

    /// <param name="keep">One figure a vertex; the line is where it is 0.</param>
    /// <returns>True for the vertices on the border.</returns>
    internal static bool[] Find(Mesh mesh, float[] keep)
    {
        var state = new State(mesh, keep, new bool[keep.Length], VertexTriangles.Of(mesh));
        for (var v = 0; v < keep.Length; v++)
        {
            state.OnLine[v] = state.IsNear(v);
            if (state.OnLine[v] && !state.IsSound(v))
                state.OnLine[v] = false;
        }

        return state.OnLine;
    }

    private sealed record State(Mesh Mesh, float[] Keep, bool[] OnLine, VertexTriangles Around)
    {
        public bool IsNear(int v)
        {
            foreach (var h in Around.CornersAt(v))
                if (IsNear(Keep[v], Keep[Mesh.Triangles[EdgeTable.Next(h)]]) || IsNear(Keep[v], Keep[Mesh.Triangles[EdgeTable.Previous(h)]]))
                    return true;
            return false;
        }

        /// <summary>Does the surface stay a manifold at a vertex that has just come to lie on the line, and around it?</summary>
        public bool IsSound(int v)
        {
            foreach (var h in Around.CornersAt(v))
            {
                int next = Mesh.Triangles[EdgeTable.Next(h)], last = Mesh.Triangles[EdgeTable.Previous(h)];
                if (OnLine[next] && OnLine[last])
                    return false;
                if ((OnLine[next] && !IsOneFan(next)) || (OnLine[last] && !IsOneFan(last)))
                    return false;
            }

            return IsOneFan(v);
        }

        private static bool IsNear(float at, float other) => at > 0 != other > 0 && Math.Abs(at) < Reach * (Math.Abs(at) + Math.Abs(other));

        private bool IsInside(int v) => Keep[v] > 0 && !OnLine[v];

        private bool IsOneFan(int v)
        {
            var fan = new List<(int Next, int Last)>();
            foreach (var h in Around.CornersAt(v))
            {
                int next = Mesh.Triangles[EdgeTable.Next(h)], last = Mesh.Triangles[EdgeTable.Previous(h)];
                if (IsInside(next) || IsInside(last))
                    fan.Add((next, last));
            }

            return fan.Count > 0 && HangsTogether(fan);
        }

        // What is kept of two triangles meets at their edge only when that edge is not cut.
        private bool HangsTogether(List<(int Next, int Last)> fan)
        {
            var (first, last) = fan[^1];
            fan.RemoveAt(fan.Count - 1);
            for (var found = true; found && fan.Count > 0;)
            {
                found = false;
                for (var i = fan.Count - 1; i >= 0; i--)
                {
                    var (next, end) = fan[i];
                    bool follows = next == last && Stays(last), leads = end == first && Stays(first);
                    if (!follows && !leads)
                        continue;
                    (first, last) = follows ? (first, end) : (next, last);
                    fan.RemoveAt(i);
                    found = true;
                }
            }

            return fan.Count == 0;
        }

        private bool Stays(int v) => Keep[v] > 0 || OnLine[v];
    }
}
