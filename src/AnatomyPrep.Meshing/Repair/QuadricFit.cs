namespace AnatomyPrep.Meshing.Repair;

/// <summary>Least-squares height field z = f + dx + ey + ax² + bxy + cy² by normal equations; x, y, z of order one.</summary>
internal sealed class QuadricFit
{
    private const int Terms = 6;
    private readonly double[,] _matrix = new double[Terms, Terms];
    private readonly double[] _right = new double[Terms];

    public void Add(double x, double y, double z)
    {
        Span<double> basis = [1, x, y, x * x, x * y, y * y];
        for (var i = 0; i < Terms; i++)
        {
            for (var j = 0; j < Terms; j++)
                _matrix[i, j] += basis[i] * basis[j];
            _right[i] += basis[i] * z;
        }
    }

    /// <summary>Mean curvature at x = y = 0, negative where the field falls away on all sides; 0 when the points do not fix a quadric.</summary>
    public double MeanCurvature()
    {
        if (!Solve(out var s))
            return 0;
        var (d, e, a, b, c) = (s[1], s[2], s[3], s[4], s[5]);
        var slope = 1 + (d * d) + (e * e);
        return ((((1 + (e * e)) * a) - (d * e * b) + ((1 + (d * d)) * c)) / (slope * Math.Sqrt(slope)));
    }

    // Cholesky; a pivot below 1e-10 of its diagonal means that the points lie on a curve that a quadric cannot tell apart.
    private bool Solve(out double[] solution)
    {
        var l = new double[Terms, Terms];
        solution = new double[Terms];
        for (var i = 0; i < Terms; i++)
        {
            for (var j = 0; j <= i; j++)
            {
                var sum = _matrix[i, j];
                for (var k = 0; k < j; k++)
                    sum -= l[i, k] * l[j, k];
                if (i == j && sum <= 1e-10 * _matrix[i, i])
                    return false;
                l[i, j] = i == j ? Math.Sqrt(sum) : sum / l[j, j];
            }
        }

        for (var i = 0; i < Terms; i++)
        {
            solution[i] = _right[i];
            for (var k = 0; k < i; k++)
                solution[i] -= l[i, k] * solution[k];
            solution[i] /= l[i, i];
        }

        for (var i = Terms - 1; i >= 0; i--)
        {
            for (var k = i + 1; k < Terms; k++)
                solution[i] -= l[k, i] * solution[k];
            solution[i] /= l[i, i];
        }

        return true;
    }
}
