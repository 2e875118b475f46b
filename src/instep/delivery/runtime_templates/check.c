/* Proves a build of the rig of @character@ against vectors written with it: C and C++, both precisions.
   Usage: check @name@_vectors.txt */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "@name@_rig.h"

static double apart(const double *wanted, const @name@_real *found, int rows, ptrdiff_t step)
{
    double worst = 0.0;
    int k;
    for (k = 0; k < rows; ++k) {
        /* Places are compared by the leg's length in that pose, turns as they are, the scale by itself. */
        const double scale = fabs(wanted[0]);
        const double unit = k == 0 ? scale : (k - 1) % @NAME@_PER_JOINT > 3 ? scale * (double)@name@_leg_length : 1.0;
        const double d = fabs(wanted[k] - (double)found[k * step]) / unit;
        if (!(d <= worst)) worst = d; /* NaN is worst */
    }
    return worst;
}

int main(int argc, char **argv)
{
    const double allowed = sizeof(@name@_real) == 4 ? 2e-5 : 1e-12;
    double worst_pose = 0.0, worst_block = 0.0;
    int count, channels, outputs, n, k, steep, skipped = 0, failed = 0;
    double *wanted;
    @name@_real *c, *o, one[@NAME@_OUTPUTS];
    FILE *file = argc > 1 ? fopen(argv[1], "r") : NULL;

    if (!file || fscanf(file, "%d %d %d", &count, &channels, &outputs) != 3 || channels != @NAME@_CHANNELS
        || outputs != @NAME@_OUTPUTS || count < 1) {
        fprintf(stderr, "usage: check @name@_vectors.txt, written together with this rig\n");
        return 2;
    }
    wanted = (double *)malloc(sizeof *wanted * (size_t)count * (size_t)(outputs + 1));
    c = (@name@_real *)malloc(sizeof *c * (size_t)count * (size_t)channels);
    o = (@name@_real *)malloc(sizeof *o * (size_t)count * (size_t)outputs);
    if (!wanted || !c || !o) return 2;
    for (n = 0; n < count; ++n) {
        double value;
        if (fscanf(file, "%d", &steep) != 1) return 2;
        wanted[n * (outputs + 1) + outputs] = steep;
        for (k = 0; k < channels; ++k) {
            if (fscanf(file, "%lf", &value) != 1) return 2;
            c[n * channels + k] = (@name@_real)value;
        }
        for (k = 0; k < outputs; ++k) {
            if (fscanf(file, "%lf", &wanted[n * (outputs + 1) + k]) != 1) return 2;
        }
    }
    @name@_poses(count, c, 1, channels, o, 1, outputs);
    for (n = 0; n < count; ++n) {
        const double *row = wanted + n * (outputs + 1);
        double pose, block;
        if (sizeof(@name@_real) == 4 && row[outputs] != 0.0) { ++skipped; continue; }
        @name@_pose(c + n * channels, one);
        pose = apart(row, one, outputs, 1);
        block = apart(row, o + n * outputs, outputs, 1);
        if (!(pose <= worst_pose)) worst_pose = pose;
        if (!(block <= worst_block)) worst_block = block;
        if (!(pose <= allowed && block <= allowed)) ++failed;
    }
    printf("%d poses, %s: one at a time %.2g, in blocks %.2g, allowed %.2g; %d too steep for single precision, left out\n",
        count, sizeof(@name@_real) == 4 ? "single" : "double", worst_pose, worst_block, allowed, skipped);
    if (failed) printf("FAILED: %d poses\n", failed);
    free(wanted);
    free(c);
    free(o);
    fclose(file);
    return failed ? 1 : 0;
}
