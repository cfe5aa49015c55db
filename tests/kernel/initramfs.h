// The file tree that the witness kernel starts from: one program, the modules and the jobs.
#pragma once

#include <string>
#include <vector>

namespace platter::test {

/// Kernel modules with everything that they depend on, in the order in which they load.
/// \param directory  where the kernel's modules lie, at any depth
/// \param names      e.g. "virtio_blk"; names that are no module are built in and left out
[[nodiscard]] std::vector<std::string> modules_for(const std::string& directory,
                                                   const std::vector<std::string>& names);

/// An archive of the "newc" form (Linux Documentation/driver-api/early-userspace/buffer-format.rst)
/// with /init, /modules/NN.ko in their order, /jobs and the directories to mount on.
[[nodiscard]] std::string initramfs(const std::string& init,
                                    const std::vector<std::string>& modules,
                                    const std::string& jobs);

}  // namespace platter::test
