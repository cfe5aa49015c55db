// How PC firmware starts an optical disc: by the El Torito specification.
#pragma once

#include "machine/machine.h"

namespace platter::machine {

[[nodiscard]] BootVerdict judge_i386_optical(const BootSubject& subject);

}  // namespace platter::machine
