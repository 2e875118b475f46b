/* Poses the rig of @character@ once, and says where its joints are. Compile: cc -O2 @name@_example.c @name@_rig.c -lm */
#include <stdio.h>

#include "@name@_rig.h"

int main(void)
{
    @name@_real channels[@NAME@_CHANNELS], joints[@NAME@_OUTPUTS];
    int k;
    for (k = 0; k < @NAME@_CHANNELS; ++k) channels[k] = @name@_channel_defaults[k];
    channels[@NAME@_CHANNEL_@EXAMPLE@] = (@name@_real)@example_value@;
    @name@_pose(channels, joints);
    for (k = 0; k < @NAME@_JOINTS; ++k) {
        const @name@_real *joint = joints + 1 + @NAME@_PER_JOINT * k;
        printf("%-24s turn %8.4f %8.4f %8.4f %8.4f   place %9.4f %9.4f %9.4f\n", @name@_joint_names[k], (double)joint[0],
            (double)joint[1], (double)joint[2], (double)joint[3], (double)joint[4], (double)joint[5], (double)joint[6]);
    }
    return 0;
}
