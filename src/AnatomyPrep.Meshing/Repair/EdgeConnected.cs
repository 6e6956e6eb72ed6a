namespace AnatomyPrep.Meshing.Repair;

/// <summary>Numbers the sets of triangles that hang together across edges with two users, by first triangle.</summary>
internal static class EdgeConnected
{
    public static int[] Label(TriangleNeighbours neighbours, int triangles, out int count)
    {
        var label = new int[triangles];
        Array.Fill(label, -1);
        count = 0;
        var open = new Stack<int>();
        for (var start = 0; start < triangles; start++)
        {
            if (label[start] >= 0)
                continue;
            label[start] = count;
            open.Push(start);
            while (open.TryPop(out var t))
            {
                for (var h = 3 * t; h < (3 * t) + 3; h++)
                {
                    var next = neighbours.Across(h);
                    if (next < 0 || label[next] >= 0)
                        continue;
                    label[next] = count;
                    open.Push(next);
                }
            }

            count++;
        }

        return label;
    }
}
